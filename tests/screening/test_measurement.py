"""The measurement of screening: what it plants, what it counts."""

import numpy as np

from spc.screening import screen
from tests.bench import screening as bench


def test_a_clean_tidy_line_of_the_measurement_is_asked_nothing():
    logs = bench.clean_line(2_000, rough=False)

    assert len(logs) == 40
    assert screen([bench.result_of(log) for log in logs]) == ()


def test_the_measurement_counts_what_it_plants():
    logs = bench.clean_line(2_001, rough=False)
    rng = np.random.default_rng(81)

    planted = bench.planted_line(rng, logs, 0)
    questions = screen([bench.result_of(log) for each in planted for log in each.logs])

    hits = [bench.found(each, questions) for each in planted]
    assert len(planted) > 30
    assert 0.2 < np.mean(hits) < 1.0
    assert not any(bench.found(each, ()) for each in planted)


def test_the_two_halves_of_the_measurement_share_no_line():
    assert not set(bench.HALVES["tune"]) & set(bench.HALVES["report"])


def test_a_share_has_the_range_of_wilson():
    # Newcombe (1998), Statistics in Medicine 17, 857-872, method 3: 81 of 263 gives 0.2553 to 0.3662 (from memory).
    assert bench.with_range(81, 263) == " 30.8 %  (26 to 37 %, 81 of 263)"
