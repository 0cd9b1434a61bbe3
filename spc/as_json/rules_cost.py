"""What run rules cost, as JSON: what scripts read."""

import math
from dataclasses import asdict
from typing import Any

from spc.arl import RunLength
from spc.arl.cost import ChartRules, RuleSetCost
from spc.rule_choice.cost import RulesCost
from spc.rules import describe

Json = dict[str, Any]


def rules_cost_json(cost: RulesCost) -> Json:
    """Return what rule sets cost on a check as JSON-ready values; absent numbers are null."""
    few = cost.estimated
    return {
        "check": cost.check.key,
        "unit": cost.check.chart_unit,
        "sigma": asdict(cost.sigma),
        "checks_per_year": cost.checks_per_year,
        "rate_source": cost.rate_source,
        "lag_correlation": cost.lag_correlation,
        "rule_sets": [_rule_set(cost, rules, each) for rules, each in zip(cost.rules, cost.costs, strict=True)],
        "limits_from_few_readings": {
            "n_baseline": few.n_baseline,
            "arl_p10": few.arl_p10,
            "arl_p50": few.arl_p50,
            "arl_p90": few.arl_p90,
            "arl_exact_limits": few.arl_known,
            "n_simulated": few.n_baselines,
        },
    }


def _rule_set(cost: RulesCost, rules: ChartRules, each: RuleSetCost) -> Json:
    limit = rules.moving_range_limit
    return {
        "name": rules.name,
        "rules": [{**asdict(setting), "words": describe(setting)} for setting in rules.settings],
        "moving_range_limit_sigmas": limit if math.isfinite(limit) else None,
        "false_alarms_per_year": each.false_alarms_per_year,
        "false_alarm_checks": _run_length(each.false_alarm),
        "seen": [
            {
                "shift": seen.shift,
                "shift_sigmas": seen.shift_sigmas,
                "checks": _run_length(seen.checks),
                "days": {
                    "mean": cost.days(seen.checks.arl),
                    "p50": cost.days(seen.checks.p50),
                    "p90": cost.days(seen.checks.p90),
                },
            }
            for seen in each.seen
        ],
    }


def _run_length(run: RunLength) -> Json:
    quantiles = {name: getattr(run, name) for name in ("p05", "p10", "p25", "p50", "p75", "p90", "p95")}
    return {"method": run.method, "mean": run.arl, "standard_error": run.standard_error, **quantiles}
