"""Agreement of judged checks: how far two or more people call the same thing by the same word, beyond chance.

Kappa is 1 for full agreement, 0 for no more than chance gives, below 0 for less. It depends on how often each word
occurs: where nearly everything passes, high agreement and a low kappa go together. Judged against known references,
what counts is how often something bad was called good; `missed_and_false` gives that.
"""

import math
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray
from spc.errors import InputError
from spc.pivots import check_confidence
from spc.told import Told

ONE_WORD = "One judge used one word for everything, so kappa can only be 0 and tells nothing. Judge things that differ."


@dataclass(frozen=True, slots=True)
class CategoryKappa:
    """Kappa of one word against all others."""

    category: str
    value: float | None  # None where the word was always or never used


@dataclass(frozen=True, slots=True)
class Kappa(Told):
    """Agreement beyond chance; None where chance alone agrees fully."""

    method: str
    n: int  # things judged
    raters: int
    categories: tuple[str, ...]
    observed: float  # share of agreement
    expected: float  # share by chance
    value: float | None
    standard_error: float | None
    lower: float | None
    upper: float | None
    confidence: float
    by_category: tuple[CategoryKappa, ...]
    statement: str


@dataclass(frozen=True, slots=True)
class Rate:
    """A share with its exact binomial limits."""

    count: int
    of: int
    share: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class MissedAndFalse(Told):
    """A judge held against known references; None where no reference of that kind was judged."""

    n: int
    agreed: Rate
    missed: Rate | None  # bad called good: the dangerous one
    false_alarms: Rate | None  # good called bad
    confidence: float


def cohen_kappa(first: Sequence[Hashable], second: Sequence[Hashable], *, confidence: float = 0.95) -> Kappa:
    """Return the agreement of two judges (or one judge and the reference) on the same things.

    Args:
        first: the words of one judge, n of them.
        second: the words of the other, of the same things in the same order.
        confidence: of the two-sided limits, by the large-sample standard error; for full agreement by the exact
            binomial limit of the agreement.

    Raises:
        InputError: lengths differ, fewer than 2 things, or a word is missing.

    Source:
        Cohen (1960), Educational and Psychological Measurement 20; standard error of Fleiss, Cohen and Everitt (1969),
        Psychological Bulletin 72.
    """
    words = sorted(set(_words(first, "first judge")) | set(_words(second, "second judge")))
    return _paired("Cohen's kappa", first, second, words, np.eye(len(words)), confidence)


def weighted_kappa(
    first: Sequence[Hashable],
    second: Sequence[Hashable],
    order: Sequence[str],
    *,
    power: int = 2,
    confidence: float = 0.95,
) -> Kappa:
    """Return the agreement of two judges on an ordered scale: a near miss counts less than a far one.

    Args:
        first: the words of one judge.
        second: the words of the other.
        order: every word that may occur, from one end to the other ("shown", "partly", "not shown").
        power: 1 weighs a disagreement by its distance, 2 by its square.
        confidence: as `cohen_kappa`.

    Raises:
        InputError: as `cohen_kappa`, a word that `order` lacks, or a power other than 1 or 2.

    Source:
        Cohen (1968), Psychological Bulletin 70; Fleiss, Cohen and Everitt (1969).
    """
    if power not in (1, 2):
        raise InputError(f"power is {power}; 1 weighs a disagreement by its distance, 2 by its square")
    if len(set(order)) < 2 or len(set(order)) != len(order):
        raise InputError("the order of words needs at least 2, each once")
    unknown = (set(_words(first, "first judge")) | set(_words(second, "second judge"))) - set(order)
    if unknown:
        raise InputError(f"{sorted(unknown)[0]!r} does not stand in the order of words; add it where it belongs")
    place = np.arange(len(order)) / (len(order) - 1)
    weights = 1 - np.abs(place[:, None] - place[None, :]) ** power
    method = f"weighted kappa, {'linear' if power == 1 else 'squared'} weights"
    return _paired(method, first, second, list(order), weights, confidence)


def _words(labels: Sequence[Hashable], which: str) -> list[str]:
    words = ["" if label is None or label != label else str(label).strip() for label in labels]
    if "" in words:
        raise InputError(f"judgement {words.index('')} ({which}) is missing; leave that thing out")
    return words


def _paired(
    method: str,
    first: Sequence[Hashable],
    second: Sequence[Hashable],
    words: list[str],
    weights: FloatArray,
    confidence: float,
) -> Kappa:
    check_confidence(confidence)
    a, b = _words(first, "first judge"), _words(second, "second judge")
    if len(a) != len(b):
        raise InputError(f"{len(a)} judgements of the first judge but {len(b)} of the second; give both of each thing")
    if len(a) < 2:
        raise InputError(f"{len(a)} things judged; at least 2 are needed")
    table = np.zeros((len(words), len(words)))
    place = {word: i for i, word in enumerate(words)}
    np.add.at(table, ([place[word] for word in a], [place[word] for word in b]), 1.0)
    share = table / len(a)
    value, error = _kappa_of(share, weights, len(a))
    observed = float(np.sum(weights * share))
    expected = float(np.sum(weights * np.outer(share.sum(axis=1), share.sum(axis=0))))
    if value is not None and 1 in (len(set(a)), len(set(b))):
        error = None  # a judge who knows one word has kappa 0 whatever the other says
    by_category = tuple(CategoryKappa(word, _one_word(share, i, len(a))) for i, word in enumerate(words))
    return _kappa(method, len(a), 2, by_category, (observed, expected), (value, error), confidence)


def _kappa(
    method: str,
    n: int,
    raters: int,
    by_category: tuple[CategoryKappa, ...],
    agreement: tuple[float, float],
    kappa: tuple[float | None, float | None],
    confidence: float,
) -> Kappa:
    """Return kappa with its limits and in words, from the agreement (observed, by chance) and kappa with its error."""
    (observed, expected), (value, error) = agreement, kappa
    lower, upper = _limits(value, error, observed, expected, n, confidence)
    return Kappa(
        method=method,
        n=n,
        raters=raters,
        categories=tuple(each.category for each in by_category),
        observed=observed,
        expected=expected,
        value=value,
        standard_error=error,
        lower=lower,
        upper=upper,
        confidence=confidence,
        by_category=by_category,
        statement=_statement(value, observed) if error is not None or value is None else ONE_WORD,
    )


def _kappa_of(share: FloatArray, weights: FloatArray, n: int) -> tuple[float | None, float | None]:
    """Return kappa of a table of shares and its large-sample standard error."""
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    observed, expected = float(np.sum(weights * share)), float(np.sum(weights * np.outer(rows, columns)))
    if math.isclose(expected, 1.0, rel_tol=0, abs_tol=1e-12):
        return None, None
    pull = (weights @ columns)[:, None] + (rows @ weights)[None, :]
    spread = np.sum(share * (weights * (1 - expected) - pull * (1 - observed)) ** 2)
    variance = (float(spread) - (observed * expected - 2 * expected + observed) ** 2) / (n * (1 - expected) ** 4)
    return (observed - expected) / (1 - expected), math.sqrt(max(0.0, variance))


def _one_word(share: FloatArray, i: int, n: int) -> float | None:
    """Return kappa of one word against all others."""
    both, row, column = float(share[i, i]), float(share[i].sum()), float(share[:, i].sum())
    pair = np.array([[both, row - both], [column - both, 1 - row - column + both]])
    return _kappa_of(pair, np.eye(2), n)[0]


def _limits(
    value: float | None, error: float | None, observed: float, expected: float, n: int, confidence: float
) -> tuple[float | None, float | None]:
    from scipy.special import ndtri
    from scipy.stats import binomtest

    if value is None or error is None:
        return None, None
    if math.isclose(observed, 1.0, rel_tol=0, abs_tol=1e-12):
        proven = float(binomtest(n, n).proportion_ci(confidence, method="exact").low)
        return (proven - expected) / (1 - expected), 1.0
    half = float(ndtri((1 + confidence) / 2)) * error
    return value - half, min(1.0, value + half)


def _statement(value: float | None, observed: float) -> str:
    if value is None:
        return "Every judgement is the same word: chance alone would agree as well. Judge things that differ."
    if observed > 0.9 and value < 0.6:
        return (
            f"{100 * observed:.0f} % agreement but kappa {value:.2f}: chance gives most of it too, because one word is "
            "nearly always used. Judge more things that should get the other."
        )
    return f"{100 * observed:.0f} % agreement; kappa {value:.2f}."


def fleiss_kappa(judgements: Sequence[Sequence[Hashable]], *, confidence: float = 0.95) -> Kappa:
    """Return the agreement of several judges.

    Args:
        judgements: for each thing, the words it was given, the same number (2 or more) for each.
        confidence: of the two-sided limits, by the large-sample standard error over things.

    Raises:
        InputError: fewer than 2 things, a word missing, or things judged a different number of times.

    Source:
        Fleiss (1971), Psychological Bulletin 76; standard error of Gwet (2014), Handbook of Inter-Rater Reliability,
        which does not suppose that there is no agreement.
    """
    things = [_words(words, f"of thing {i}") for i, words in enumerate(judgements)]
    if len(things) < 2:
        raise InputError(f"{len(things)} things judged; at least 2 are needed")
    raters = len(things[0])
    if raters < 2 or any(len(words) != raters for words in things):
        raise InputError("every thing must be judged equally often, at least twice; leave out those that were not")
    words = sorted({word for thing in things for word in thing})
    return fleiss_kappa_of_counts(
        np.array([[thing.count(word) for word in words] for thing in things]), tuple(words), confidence=confidence
    )


def fleiss_kappa_of_counts(counts: ArrayLike, categories: tuple[str, ...], *, confidence: float = 0.95) -> Kappa:
    """Return `fleiss_kappa` from how often each thing was given each word, shape (things, words)."""
    check_confidence(confidence)
    table = np.array(counts, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != len(categories) or len(table) < 2:
        raise InputError(f"counts must have a row for each of 2 or more things and a column for each of {categories}")
    n, raters = len(table), float(table[0].sum())
    if raters < 2 or np.any(table < 0) or np.any(table.sum(axis=1) != raters):
        raise InputError("every thing must be judged equally often, at least twice; leave out those that were not")
    share = table.sum(axis=0) / table.sum()
    agreed = ((table**2).sum(axis=1) - raters) / (raters * (raters - 1))
    observed, expected = float(agreed.mean()), float(share @ share)
    value = error = None
    if not math.isclose(expected, 1.0, rel_tol=0, abs_tol=1e-12):
        value = (observed - expected) / (1 - expected)
        pull = 2 * (1 - value) * (table @ share / raters - expected)
        error = float(((agreed - expected - pull) / (1 - expected)).std(ddof=1)) / math.sqrt(n)
    by_category = []
    for column, p, word in zip(table.T, share.tolist(), categories, strict=True):
        apart = float(column @ (raters - column)) / (n * raters * (raters - 1))
        by_category.append(CategoryKappa(word, 1 - apart / (p * (1 - p)) if 0 < p < 1 else None))
    told, kappa = tuple(by_category), (value, error)
    return _kappa("Fleiss' kappa", n, int(raters), told, (observed, expected), kappa, confidence)


def missed_and_false(
    judged: Sequence[Hashable], reference: Sequence[Hashable], bad: Collection[str], *, confidence: float = 0.95
) -> MissedAndFalse:
    """Hold a judge against known references: how often bad was called good, and good bad.

    Args:
        judged: the judge's words.
        reference: what each thing is known to be.
        bad: the words that mean it does not pass; all others pass.
        confidence: of the exact binomial limits.

    Raises:
        InputError: lengths differ, nothing judged, or a word is missing.
    """
    check_confidence(confidence)
    words, known = _words(judged, "judged"), _words(reference, "reference")
    if len(words) != len(known) or not words:
        raise InputError(f"{len(words)} judgements but {len(known)} references; give both of each thing")
    called = [word in bad for word in words]
    truly = [word in bad for word in known]
    pairs = list(zip(called, truly, strict=True))
    return MissedAndFalse(
        n=len(words),
        agreed=_rate([c == t for c, t in pairs], confidence),
        missed=_rate([not c for c, t in pairs if t], confidence) if any(truly) else None,
        false_alarms=_rate([c for c, t in pairs if not t], confidence) if not all(truly) else None,
        confidence=confidence,
    )


def _rate(happened: list[bool], confidence: float) -> Rate:
    from scipy.stats import binomtest

    count, of = sum(happened), len(happened)
    interval = binomtest(count, of).proportion_ci(confidence, method="exact")
    return Rate(count, of, count / of, float(interval.low), float(interval.high))
