from spc.signals import episodes
from spc.state import stream_state
from tests.dashboard.made_line import AMBIENT, AMMETER, BATH, KEYS, LAMP, NOW, SHIFTS, SHIM, TIMER, ZONE, results


def test_every_stream_shows_what_it_was_made_for(tmp_path):
    found = results(tmp_path)
    words = {key: stream_state(result, ZONE, NOW).word for key, result in found.items()}

    assert set(found) == set(KEYS)
    assert words == {
        BATH: "calm", LAMP: "moving", AMMETER: "failed", SHIM: "judged", AMBIENT: "calm", TIMER: "learning"
    }  # fmt: skip
    assert [segment.because for segment in found[BATH].segments] == ["start_of_log", "bath_changed"]
    assert len(found[BATH].readings) == SHIFTS
    assert [failure.index for failure in found[SHIM].failures] == [30]
    assert episodes(found[LAMP], ZONE)[-1].open
    assert (found[AMBIENT].charted.bound == -1).sum() > 20
