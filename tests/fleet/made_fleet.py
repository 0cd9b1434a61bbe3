"""A fleet's results of any size, without a run."""

import numpy as np

from spc.fleet import Fleet, FleetFault, FleetSignals, FleetStream

CHECKS = (("bath_concentration", "mL/100mL"), ("uva_irradiance", "uW/cm2"), ("ambient_light", "lx"))
START = 1_741_000_000_000_000
MINUTE = 60_000_000


def made_fleet(streams: int, seed: int = 5) -> Fleet:
    """Return results of `streams` streams: three checks a line, ten lines a site, and one partition not read."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(streams):
        check, unit = CHECKS[i % 3]
        drifts, steps, failures = rng.poisson((2.0, 1.0, 0.5)).tolist()
        moved = drifts + steps > 0
        rows.append(
            FleetStream(
                ("North", "South / old")[i // 30 % 2],
                f"Line {i // 3:05}",
                check,
                "tank",
                unit,
                500,
                START,
                START + 500 * MINUTE,
                failures,
                drifts,
                steps,
                3,
                ("drift" if drifts else "step") if moved else "",
                "low" if moved else "",
                START + 400 * MINUTE if moved else None,
                0.2,
                0.012,
                0.01,
                0.05,
                40.0 if moved else None,
            )
        )
    rows.sort()
    fault = FleetFault("North", "Line 99", "ammeter", "holds no Parquet file")
    return Fleet(tuple(rows), FleetSignals.of([signals_of(row) for row in rows]), (fault,))


def signals_of(stream: FleetStream) -> FleetSignals:
    """Return as many signals as the row of a stream counts."""
    rules = ["drift"] * stream.drifts + ["step"] * stream.steps + ["one_side"] * stream.rule_signals
    n = len(rules)

    def all_of(text: str) -> np.ndarray:
        return np.array([text] * n, dtype=np.object_)

    return FleetSignals(
        site=all_of(stream.site), line=all_of(stream.line),
        check=all_of(stream.check), position=all_of(stream.position),
        taken_at=START + MINUTE * np.arange(n), row=np.arange(2, n + 2), value=np.linspace(0.1, 0.2, n),
        chart=np.array(["early_warning" if rule != "one_side" else "individuals" for rule in rules], dtype=np.object_),
        rule=np.array(rules, dtype=np.object_), side=all_of("low"),
    )  # fmt: skip
