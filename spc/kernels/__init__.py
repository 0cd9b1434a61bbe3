"""The moving range, control limits and run rules of many segments at once, compiled: for logs of millions of readings.

The plain functions (`spc.charts.individuals`, `spc.rules`) are the reference, and these give the same to the bit
(`tests/kernels/`). Nothing here is imported, let alone compiled, before a log is large enough to pay for it.

Order and ties: sums are exact and rounded once (as `math.fsum`), so no order of summation changes a limit; a reading
on a line, to 1e-9 sigma, is on neither side of it, and two equal readings are a tie (see `spc.rules`).
"""

from spc.kernels.many import LONGEST_WINDOW, LimitsOfMany, limits_of_many, rule_hits_of_many

__all__ = ["LONGEST_WINDOW", "LimitsOfMany", "limits_of_many", "rule_hits_of_many"]
