"""Simulated lines with known truth, the methods that are compared on them, and how they are scored.

A line is 120 streams over two years: baths that lose powder and are topped up, lamps that age, soil and fail, panel
meters and timers that creep, rooms that leak light, residual fields; a quarter of the streams have no fault at all.
*Tidy* lines have independent noise and write their events down; *rough* ones read coarsely, have heavy-tailed and
autocorrelated noise, misread, copy and miss readings, top up by feel and forget to write changes down.

All figures are our own estimates of such lines (common practice, no source), drawn anew for every stream.
"""
