"""Average run length: how many readings until a chart signals, in control and after a shift.

| chart | how |
| --- | --- |
| run rules that remember only zones | exact Markov chain |
| trends, alternation, moving-range limit, correlated readings | integral equations in the last value |
| rules that remember too much for either | simulation, seeded, with its standard error |
| EWMA, CUSUM | integral equation |

Readings are normal and, unless said otherwise, independent. Quantiles come from the same chain or equation as the mean.
"""

from spc.arl.autocorrelated import AutocorrelationEffect, autocorrelation_effect
from spc.arl.cusum import cusum_height, cusum_run_length, one_sided_cusum_run_length
from spc.arl.estimated_limits import EstimatedLimits, estimated_limits_run_length
from spc.arl.ewma import ewma_run_length, ewma_start_up_run_length, ewma_width
from spc.arl.readings import NormalReadings
from spc.arl.rule_sets import MOVING_RANGE_LIMIT, rule_set_run_length
from spc.arl.run_length import Method, RunLength, Start
from spc.arl.simulation import simulated_run_length

__all__ = [
    "MOVING_RANGE_LIMIT",
    "AutocorrelationEffect",
    "EstimatedLimits",
    "Method",
    "NormalReadings",
    "RunLength",
    "Start",
    "autocorrelation_effect",
    "cusum_height",
    "cusum_run_length",
    "estimated_limits_run_length",
    "ewma_run_length",
    "ewma_start_up_run_length",
    "ewma_width",
    "one_sided_cusum_run_length",
    "rule_set_run_length",
    "simulated_run_length",
]
