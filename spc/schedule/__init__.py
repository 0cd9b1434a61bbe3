"""The schedule: when each check is due, and what of it was done.

site_calendar  when the site works (TOML)
operation      when a line was in operation: the calendar, events and "not run" rows together
obligation     when a check is due again
ledger         every check due, done, late, missed or not in operation
"""
