"""The early warning on a chart: what warns, what is drawn only, the likely start, the way to the limit."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from spc.figures import all_readings, last_readings, stream_figure
from spc.figures.warning import ahead, open_warning, with_forecast
from spc.monitor import monitor_stream
from spc.times import from_microseconds
from tests.dashboard.made_line import ZONE
from tests.made import made_check, made_readings


def watched(level, **parts):
    values = np.round(np.asarray(level) + np.random.default_rng(20250303).normal(0, 0.008, len(level)), 3)
    given = {"early_warning": True, "rules_signal": False} | parts
    return monitor_stream(made_readings(values.tolist()), (), made_check(**given))


FALLING = [0.25] * 40 + [0.25 - 0.005 * i for i in range(1, 22)]


@pytest.fixture(scope="module")
def falling():
    return watched(FALLING)


def traces(result, **more: Any) -> dict[str, Any]:
    figure = stream_figure(result, zone=ZONE, window=all_readings(result), **more)
    return {trace.name: trace for trace in figure.data}


def shapes(result, name: str):
    figure = stream_figure(result, zone=ZONE, window=all_readings(result))
    return [shape for shape in figure.layout.shapes if shape.name == name]


def test_what_warns_is_a_diamond_and_a_run_rule_a_small_ring(falling):
    found = traces(falling)
    warned = {signal.position for signal in falling.signals}
    only = {s.position for s in falling.rule_signals if s.chart == "individuals"} - warned

    assert len(found["signalled"].y) == len(warned)
    assert len(found["run rule, drawn only"].y) == len(only) > 0
    assert found["signalled"].marker.symbol == "diamond"
    assert found["run rule, drawn only"].marker.symbol == "circle-open"
    assert found["run rule, drawn only"].marker.size < found["signalled"].marker.size


def test_run_rules_can_be_left_out(falling):
    found = traces(falling, rules=False)

    assert "run rule, drawn only" not in found
    assert "range rule, drawn only" not in found
    assert "signalled" in found


def test_run_rules_that_warn_are_no_rings():
    both = watched(FALLING, rules_signal=True)

    assert "run rule, drawn only" not in traces(both)


def test_the_touched_reading_says_what_warns_and_what_is_drawn_only(falling):
    words = " ".join(traces(falling)["reading"].hovertext)

    assert "signal: early warning: a drift down" in words
    assert "run rule, drawn only:" in words


def test_the_likely_start_and_its_span_are_on_the_chart(falling):
    (line,) = shapes(falling, "most likely start")
    episode = open_warning(falling, ZONE)

    assert episode is not None
    assert line.x0 == line.x1 == str(episode.since.astimezone(ZONE).replace(tzinfo=None))
    for span in shapes(falling, "span of the start"):
        assert span.x0 <= line.x0 <= span.x1


def test_a_quiet_stream_has_neither_start_nor_forecast():
    quiet = watched([0.25] * 60)

    assert shapes(quiet, "most likely start") == []
    assert not [name for name in traces(quiet) if name.startswith("forecast")]
    assert with_forecast(quiet, last_readings(quiet, 30), ZONE) == last_readings(quiet, 30)


def test_the_fan_leads_from_the_last_reading_to_the_limit(falling):
    way, found = ahead(falling, ZONE), traces(falling)

    assert way is not None
    assert way.limit == 0.1
    assert way.start < way.early <= way.middle <= (way.late or way.middle)
    assert abs(way.middle / 1e6 - way.start / 1e6 - (falling.forecast.readings_p50 or 0) * 8 * 3600) < 1
    middle = found["forecast, the middle"]
    assert middle.y == (way.level, way.limit)
    assert set(found["forecast, 8 chances in 10"].y) >= {way.level, way.limit}


def test_the_view_gets_room_for_the_fan_and_not_too_much(falling):
    window = last_readings(falling, 30)
    wider = with_forecast(falling, window, ZONE)

    assert wider.first == window.first
    assert window.last < wider.last <= window.last + 0.31 * (window.last - window.first)


def test_an_earlier_stretch_keeps_its_end(falling):
    window = last_readings(falling, 30)
    earlier = type(window)(window.first - timedelta(days=3), from_microseconds(int(falling.charted.taken_at[-5])))

    assert with_forecast(falling, earlier, ZONE) == earlier
