import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.inter_rater import cohens_kappa  # type: ignore[import-untyped]  # statsmodels has no stubs

from spc.errors import InputError
from spc.measurement.agreement import (
    cohen_kappa,
    fleiss_kappa,
    fleiss_kappa_of_counts,
    missed_and_false,
    weighted_kappa,
)


def judgements(table: list[list[int]]) -> tuple[list[str], list[str]]:
    """Return both judges' words for a table of counts: word 0, 1, ... of the first by that of the second."""
    pairs = [(str(i), str(j)) for i, row in enumerate(table) for j, count in enumerate(row) for _ in range(count)]
    return [a for a, _ in pairs], [b for _, b in pairs]


def test_published_pair():
    """Two appraisers, 50 parts, three times: attribute study of the measurement systems analysis manual (memory)."""
    kappa = cohen_kappa(*judgements([[44, 6], [3, 97]]))

    assert kappa.value == pytest.approx(0.86, abs=0.005)
    assert (kappa.observed, kappa.expected) == pytest.approx((141 / 150, 12650 / 22500))


# Fleiss (1971), 30 patients by 6 psychiatrists: overall 0.430; by diagnosis 0.245, 0.245, 0.520, 0.471, 0.566 (from
# memory; the words of each patient as statsmodels' tests have them from Fleiss' table).
DIAGNOSES = """
    444444 222555 233335 555555 222444 113333 333355 113334 114444 555555 144444 124444 222333 144444 224445
    333335 111455 111112 224444 133555 555555 244444 224555 114444 144445 222224 111155 224444 133333 555555"""

# Ten things by 14 judges in 5 words, a widely copied worked example: 0.210 (from memory; statsmodels has it too).
WORKED = [
    [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1], [7, 7, 0, 0, 0],
    [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
]  # fmt: skip


def test_fleiss_diagnoses():
    kappa = fleiss_kappa([list(word) for word in DIAGNOSES.split()])

    assert kappa.value == pytest.approx(0.430, abs=0.0005)
    assert [c.value for c in kappa.by_category] == pytest.approx([0.245, 0.245, 0.520, 0.471, 0.566], abs=0.0006)
    assert (kappa.n, kappa.raters, kappa.categories) == (30, 6, ("1", "2", "3", "4", "5"))


def test_fleiss_worked_example():
    kappa = fleiss_kappa_of_counts(WORKED, tuple("abcde"))

    assert kappa.value == pytest.approx(0.210, abs=0.0005)
    assert (kappa.observed, kappa.expected) == pytest.approx((0.378, 0.213), abs=0.0005)


@pytest.mark.parametrize("table", [[[10, 3, 1], [2, 8, 4], [0, 3, 9]], [[20, 0, 0], [5, 1, 0], [0, 2, 3]]])
def test_pairs_agree_with_a_library(table):
    words = ["0", "1", "2"]
    for own, weighting in (
        (cohen_kappa(*judgements(table)), None),
        (weighted_kappa(*judgements(table), words, power=1), "linear"),
        (weighted_kappa(*judgements(table), words, power=2), "quadratic"),
    ):
        library = cohens_kappa(np.array(table), wt=weighting)

        assert own.value == pytest.approx(library.kappa, rel=1e-12)
        assert own.standard_error == pytest.approx(library.std_kappa, rel=1e-9)
        assert own.lower == pytest.approx(library.kappa_low, rel=1e-9)
        assert own.upper == pytest.approx(min(1.0, library.kappa_upp), rel=1e-9)


def test_squared_weights_are_the_intraclass_correlation():
    """Fleiss and Cohen (1973): squared-weight kappa is 2 covariance over (variances + squared mean difference)."""
    table = [[10, 3, 1], [2, 8, 4], [0, 3, 9]]
    a, b = (np.array(words, dtype=float) for words in judgements(table))
    concordance = 2 * np.cov(a, b, bias=True)[0, 1] / (a.var() + b.var() + (a.mean() - b.mean()) ** 2)

    assert weighted_kappa(*judgements(table), ["0", "1", "2"]).value == pytest.approx(concordance, rel=1e-12)


def test_pair_limits_hold_their_confidence():
    """2,000 seeded samples of 150; true kappa 0.6 of the shares below; standard error of a stated 0.95 is 0.005."""
    share = np.array([[0.4, 0.1], [0.1, 0.4]])
    counts = np.random.default_rng(4).multinomial(150, share.ravel(), 2000).reshape(-1, 2, 2)
    held = []
    for table in counts[:400]:
        kappa = cohen_kappa(*judgements(table.tolist()))
        assert kappa.lower is not None
        assert kappa.upper is not None
        held.append(kappa.lower < 0.6 < kappa.upper)

    assert np.mean(held) == pytest.approx(0.95, abs=0.03)


def test_fleiss_limits_by_drawing_things_again():
    """Second way to the standard error: 2,000 bootstrap draws of the 30 patients."""
    words = [list(word) for word in DIAGNOSES.split()]
    counts = np.array([[thing.count(c) for c in "12345"] for thing in words])
    rng = np.random.default_rng(7)
    drawn = []
    for _ in range(2000):
        value = fleiss_kappa_of_counts(counts[rng.integers(0, 30, 30)], tuple("12345")).value
        assert value is not None
        drawn.append(value)
    kappa = fleiss_kappa(words)

    assert kappa.standard_error == pytest.approx(np.std(drawn), rel=0.12)
    assert kappa.lower == pytest.approx(0.430 - 1.959964 * (kappa.standard_error or 0), abs=0.001)


def test_two_judges_by_either_form():
    """With two judges whose words occur alike, Cohen's and Fleiss' forms are one."""
    first, second = judgements([[20, 5], [5, 70]])
    pair = fleiss_kappa(list(zip(first, second, strict=True)))

    assert cohen_kappa(first, second).value == pytest.approx(pair.value, rel=1e-12)


def test_full_agreement_still_has_a_lower_limit():
    """20 of 20 agree, half of them each word: at least 1 - 0.025 ** (1/20) may be missed, so kappa is above 2 p - 1."""
    kappa = cohen_kappa(["pass", "fail"] * 10, ["pass", "fail"] * 10)
    least = 0.025 ** (1 / 20)

    assert (kappa.value, kappa.upper) == (1.0, 1.0)
    assert kappa.lower == pytest.approx(2 * least - 1, rel=1e-9)


def test_one_word_alone_has_no_kappa():
    for kappa in (cohen_kappa(["pass"] * 5, ["pass"] * 5), fleiss_kappa([["pass"] * 3] * 5)):
        assert kappa.value is kappa.lower is kappa.upper is kappa.standard_error is None
        assert kappa.observed == 1.0
        assert "chance alone would agree" in kappa.statement
        assert kappa.by_category[0].value is None


def test_a_judge_who_knows_one_word_has_kappa_zero_and_no_limits():
    kappa = cohen_kappa(["pass"] * 6, ["pass", "fail"] * 3)

    assert kappa.value == pytest.approx(0.0, abs=1e-12)
    assert kappa.lower is kappa.upper is kappa.standard_error is None
    assert "used one word for everything" in kappa.statement


def test_high_agreement_with_a_low_kappa_is_explained():
    kappa = cohen_kappa(*judgements([[95, 2], [2, 1]]))

    assert kappa.value is not None
    assert kappa.value < 0.4
    assert "96 % agreement but kappa" in kappa.statement
    assert cohen_kappa(*judgements([[44, 6], [3, 97]])).statement == "94 % agreement; kappa 0.86."


def test_missed_and_false_alarms():
    """Of 6 that fail 2 were called good; of 14 that pass 1 was called bad. Limits: Clopper and Pearson's tables."""
    judged = ["fail"] * 4 + ["pass"] * 2 + ["fail"] + ["pass"] * 13
    known = ["fail"] * 6 + ["pass"] * 14
    found = missed_and_false(judged, known, {"fail"})

    assert found.missed is not None
    assert found.false_alarms is not None
    assert (found.missed.count, found.missed.of) == (2, 6)
    assert (found.missed.lower, found.missed.upper) == pytest.approx((0.0433, 0.7772), abs=5e-5)
    assert (found.false_alarms.count, found.false_alarms.of) == (1, 14)
    assert (found.false_alarms.lower, found.false_alarms.upper) == pytest.approx((0.0018, 0.3387), abs=5e-5)
    assert (found.agreed.count, found.agreed.share) == (17, 0.85)
    assert missed_and_false(["pass"], ["pass"], {"fail"}).missed is None
    assert missed_and_false(["fail"], ["fail"], {"fail"}).false_alarms is None


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        (["a", "b"], ["a"], "2 judgements of the first judge but 1"),
        (["a"], ["a"], "1 things judged; at least 2"),
        (["a", ""], ["a", "b"], r"judgement 1 \(first judge\) is missing"),
        (["a", "b"], [None, "b"], r"judgement 0 \(second judge\) is missing"),
        (["a", "b"], [float("nan"), "b"], r"judgement 0 \(second judge\) is missing"),
    ],
)
def test_pairs_refuse(first, second, says):
    with pytest.raises(InputError, match=says):
        cohen_kappa(first, second)


def test_other_refusals():
    with pytest.raises(InputError, match="'partly' does not stand"):
        weighted_kappa(["shown", "partly"], ["shown", "shown"], ["shown", "not shown"])
    with pytest.raises(InputError, match="power is 3"):
        weighted_kappa(["a", "b"], ["a", "b"], ["a", "b"], power=3)
    with pytest.raises(InputError, match="at least 2, each once"):
        weighted_kappa(["a", "a"], ["a", "a"], ["a", "a"])
    with pytest.raises(InputError, match="judged equally often"):
        fleiss_kappa([["a", "b"], ["a"]])
    with pytest.raises(InputError, match="judged equally often"):
        fleiss_kappa([["a"], ["a"]])
    with pytest.raises(InputError, match="judged equally often"):
        fleiss_kappa_of_counts([[3, -1], [1, 1]], ("a", "b"))
    with pytest.raises(InputError, match="a column for each"):
        fleiss_kappa_of_counts([[3, 1], [1, 3]], ("a",))
    with pytest.raises(InputError, match="1 things judged"):
        fleiss_kappa([["a", "b"]])
    with pytest.raises(InputError, match="2 judgements but 1 references"):
        missed_and_false(["a", "b"], ["a"], {"b"})
    with pytest.raises(InputError, match=r"95 % as 0\.95"):
        cohen_kappa(["a", "b"], ["a", "b"], confidence=95)


PAIRS = st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("abc")), min_size=3, max_size=40)


@given(PAIRS, st.permutations([0, 1, 2]))
def test_neither_the_judges_order_nor_the_words_matter(pairs, renaming):
    first, second = [a for a, _ in pairs], [b for _, b in pairs]
    name = {old: f"word {new}" for old, new in zip("abc", renaming, strict=True)}
    one, swapped = cohen_kappa(first, second), cohen_kappa(second, first)
    renamed = cohen_kappa([name[a] for a in first], [name[b] for b in second])
    if one.value is None:
        assert swapped.value is None
        assert renamed.value is None
        return

    assert swapped.value == pytest.approx(one.value, abs=1e-12)
    assert renamed.value == pytest.approx(one.value, abs=1e-12)
    if one.standard_error is not None:
        assert renamed.standard_error == pytest.approx(one.standard_error, abs=1e-7)
    assert -1.0 <= one.value <= 1.0
    assert not math.isnan(one.value)


@given(PAIRS)
def test_missed_and_false_add_up(pairs):
    found = missed_and_false([a for a, _ in pairs], [b for _, b in pairs], {"c"})
    wrong = sum(rate.count for rate in (found.missed, found.false_alarms) if rate is not None)

    assert wrong + found.agreed.count == found.n == len(pairs)
    assert found.agreed.lower <= found.agreed.share <= found.agreed.upper
