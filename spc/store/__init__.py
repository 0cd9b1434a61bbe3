"""The record: readings, events, corrections and decisions in a database, every change in a hash-chained trail.

`Store` in `store.py` is the door. Nothing is overwritten: what is said once stays, and what is said later stands beside
it. SQLite by default, PostgreSQL by URL; the code is the same for both.
"""
