import numpy as np
import pytest

from spc.demo.noise import Noise


@pytest.mark.parametrize("carry", [0.0, 0.3, 0.9])
def test_draws_are_standard_normal_and_carried_over(carry):
    # AR(1): lag-1 correlation `carry`, spread 1; the mean's error grows with (1 + carry) / (1 - carry)
    n = 20_000
    noise = Noise(7, 0, carry)

    x = np.array([noise.next() for _ in range(n)])

    assert x.mean() == pytest.approx(0.0, abs=4 * np.sqrt((1 + carry) / (1 - carry) / n))
    assert x.std() == pytest.approx(1.0, abs=0.05 if carry == 0.9 else 0.03)
    assert np.corrcoef(x[1:], x[:-1])[0, 1] == pytest.approx(carry, abs=0.03)
    assert np.mean(np.abs(x) > 1.96) == pytest.approx(0.05, abs=0.02 if carry == 0.9 else 0.008)


def test_streams_do_not_share_their_noise():
    one, other = Noise(7, 0), Noise(7, 1)

    assert [one.next() for _ in range(5)] != [other.next() for _ in range(5)]


def test_the_uniform_draws_are_numpy_s_own():
    # the generator that numpy documents as stable: PCG64 under random()
    expected = np.random.Generator(np.random.PCG64(np.random.SeedSequence([7, 3]))).random(4)
    noise = Noise(7, 3)

    assert noise.chance() == expected[1]  # the first went into where the noise starts
    assert noise.chance() == expected[2]
