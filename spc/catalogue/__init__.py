"""The checks of a line: unit, limits and where they come from, interval, chart, rules, reaction."""
