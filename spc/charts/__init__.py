"""Control charts. Each kind is a module, and all have one shape, so that what is true of one is tested on every one.

A chart is set up by the readings of a baseline and then follows the stream:

    limits = ewma_limits(baseline)              phase I: frozen limits, with the n and the sigma behind them
    plotted = ewma_plot(readings, limits)       phase II, a whole stream at once: arrays of values, limits and sides
    state = EwmaState.start(limits)             phase II, one reading at a time: a frozen state
    state = update(state, reading)              ... whose `point` is what the reading drew
    EWMA = Chart(...)                           the module's entry: title, kind of readings, and these functions

What holds for every chart (tests/chart_checks.py):

- A change of the stream's unit changes no side; inputs are left untouched and results cannot be written to.
- Constant readings are drawn without a signal. Too few for a baseline, or infinite ones, are an InputError.
- NaN stands for a reading that was not taken: it draws nothing and is never beyond a limit.
- Both forms give the same values, to the bit, at every prefix: the batch form folds the step.
- A value on a limit is not beyond it.

To add a chart: a module with limits, state, update, plot and a `Chart`; a line here; a test file.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from spc.charts.attributes import FRACTION_FAILED, PASSES_BETWEEN
from spc.charts.cusum import CUSUM
from spc.charts.ewma import EWMA
from spc.charts.individuals import INDIVIDUALS, MOVING_RANGE
from spc.charts.residuals import RESIDUALS
from spc.charts.shape import Chart
from spc.charts.skewed import SKEWED, TIME_BETWEEN
from spc.charts.trend import TREND

CHARTS: Mapping[str, Chart[Any, Any]] = MappingProxyType(
    {
        chart.key: chart
        for chart in (
            INDIVIDUALS,
            MOVING_RANGE,
            EWMA,
            CUSUM,
            TREND,
            RESIDUALS,
            SKEWED,
            FRACTION_FAILED,
            PASSES_BETWEEN,
            TIME_BETWEEN,
        )
    }
)
"""Every chart there is, in the order they are listed to people."""
