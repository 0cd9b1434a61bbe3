"""The check values that the methods must meet, and the test that holds each."""

from typing import Literal, NamedTuple

Mark = Literal["found", "memory", "computed"]


class CheckValue(NamedTuple):
    """A published or recomputed value; `docs/methods.md` says what it is."""

    mark: Mark  # read in its source; recalled, and recomputed; recomputed alone
    test: str  # "file::function"


_ARL = "arl/test_arl.py::test_"
_SEQUENCE = CheckValue("computed", "rules/test_rules.py::test_sequence")
_CHAMP_WOODALL = f"{_ARL}supplementary_rules_meet_champ_and_woodall"
_EWMA = f"{_ARL}ewma_meets_lucas_and_saccucci"
_CUSUM = f"{_ARL}cusum_meets_lucas_and_crosier"

CHECK_VALUES: dict[str, CheckValue] = {
    "nist-imr": CheckValue("found", "charts/test_individuals.py::test_handbook_flow_rate"),
    "nist-ewma": CheckValue("found", "charts/test_ewma.py::test_handbook_averages_and_final_limits"),
    "nist-cp": CheckValue("found", "capability/test_capability.py::test_handbook_indices"),
    "nist-ppm": CheckValue("memory", "capability/test_capability.py::test_share_outside_of_a_centred_process"),
    "tol-table": CheckValue("memory", "capability/test_tolerance.py::test_normal_factors"),
    "strd-mavro": CheckValue("found", "test_nist_strd.py::test_univariate"),
    "strd-anova": CheckValue("found", "test_nist_strd.py::test_analysis_of_variance"),
    "strd-norris": CheckValue("found", "test_nist_strd.py::test_norris"),
    "strd-longley": CheckValue("memory", "test_nist_strd.py::test_longley"),
    "const": CheckValue("computed", "test_chart_constants.py::test_ten_digits_of_the_factors"),
    **{f"cw-C{rules}": CheckValue("memory", _CHAMP_WOODALL) for rules in (1, 13, 16, 124, 134, 7)},
    **{f"cw-C{rules}": CheckValue("computed", _CHAMP_WOODALL) for rules in (135, 145, 126, 156, 79, 789)},
    "rules-alone": CheckValue("computed", f"{_ARL}a_rule_alone_meets_its_recomputed_value"),
    "ewma-0.4-3.054": CheckValue("memory", _EWMA),
    "ewma-0.2-2.962": CheckValue("memory", _EWMA),
    "ewma-0.05-2.615": CheckValue("memory", _EWMA),
    "ewma-0.2-2.86": CheckValue("memory", _EWMA),
    "ewma-0.5-3.0": CheckValue("memory", _EWMA),
    "ewma-0.03-2.437": CheckValue("memory", _EWMA),
    "ewma-L": CheckValue("memory", f"{_ARL}ewma_width_meets_lucas_and_saccucci"),
    "cusum-0.5-4": CheckValue("memory", _CUSUM),
    "cusum-0.5-4.77": CheckValue("memory", _CUSUM),
    "cusum-0.25-8.01": CheckValue("memory", _CUSUM),
    "cusum-0.75-3.34": CheckValue("memory", _CUSUM),
    "ar1": CheckValue("computed", f"{_ARL}correlated_readings_meet_their_integral_equation"),
    "est-limits": CheckValue("computed", f"{_ARL}limits_from_few_readings_agree_with_recorded_simulations"),
    "rule-probs": CheckValue("memory", "rules/test_rule_probabilities.py::test_in_control_probability_of_a_pattern"),
    **{f"seq-{name}": _SEQUENCE for name in ("b1", "r9b", "r9d", "r9e", "r9g", "r9i", "r8a", "r8b", "t6b", "t6c")},
    **{f"seq-{name}": _SEQUENCE for name in ("t7a", "t8", "a14a", "a14c", "23a", "23b", "23d", "23f", "45a", "45c")},
    **{f"seq-{name}": _SEQUENCE for name in ("45e", "15a", "15c", "8a", "8b")},
    "cp-ci": CheckValue("memory", "capability/test_capability.py::test_cp_interval_of_a_textbook"),
    "quant-weibull": CheckValue("computed", "capability/test_quantile_capability.py::test_indices_of_a_known_weibull"),
    "rounding": CheckValue("computed", "coarse/test_resolution.py::test_effect_of_rounding"),
    "grr-aiag-anova": CheckValue("memory", "measurement/test_gauge.py::test_the_manuals_pooled_analysis"),
    "grr-ci-aiag": CheckValue("computed", "measurement/test_gauge.py::test_limits_of_the_manuals_study"),
    "nile": CheckValue("found", "test_changepoint.py::test_nile_changes_after_1898"),
    "nile-imr": CheckValue("computed", "charts/test_individuals.py::test_nile_limits_from_all_readings_hide_the_step"),
    "bias": CheckValue("memory", "measurement/test_bias.py::test_bias_by_standard_deviation"),
    "guard": CheckValue("memory", "test_conformance.py::test_one_limit"),
    "t-chart": CheckValue("memory", "charts/test_skewed.py::test_textbook_times_between_failures"),
    "cens-gupta": CheckValue("memory", "coarse/test_censored.py::test_censored_at_the_largest"),
    "cens-weibull": CheckValue("memory", "coarse/test_censored.py::test_weibull_of_a_handbook_life_test"),
}
