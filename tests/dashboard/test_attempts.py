"""Wrong passwords slow down, and are forgotten."""

from datetime import UTC, datetime

from dashboard.attempts import FORGOTTEN_AFTER, MOST_KEPT, SLOWING, Attempts

NOW = datetime(2026, 4, 10, 14, 0, tzinfo=UTC)


def test_waits_double_up_to_the_longest():
    assert [SLOWING["name"].wait(wrong) for wrong in range(11)] == [0, 0, 0, 1, 2, 4, 8, 16, 32, 60, 60]
    assert SLOWING["address"].wait(10**9) == 900


def test_one_address_that_tries_many_names_waits():
    attempts = Attempts()
    for tried in range(10):
        assert attempts.begin(f"name {tried}", "192.0.2.7", NOW) == 0

    assert attempts.begin("another", "192.0.2.7", NOW) == 1
    assert attempts.begin("another", "192.0.2.8", NOW) == 0


def test_a_password_that_fits_costs_its_address_nothing():
    attempts = Attempts()
    for _ in range(50):
        assert attempts.begin("anna", "192.0.2.7", NOW) == 0
        attempts.passed("anna", "192.0.2.7")

    assert attempts.begin("anna", "192.0.2.7", NOW) == 0


def test_an_hour_without_a_wrong_one_is_forgotten():
    attempts = Attempts()
    for _ in range(3):
        attempts.begin("anna", "192.0.2.7", NOW)
    later = NOW + FORGOTTEN_AFTER

    assert attempts.begin("eva", "192.0.2.9", later) == 0
    assert len(attempts) == 2  # eva and her address


def test_a_flood_of_names_takes_no_more_memory():
    attempts = Attempts()
    for tried in range(MOST_KEPT):
        attempts.begin(f"name {tried}", f"192.0.2.{tried}", NOW)

    assert len(attempts) <= MOST_KEPT + 1
