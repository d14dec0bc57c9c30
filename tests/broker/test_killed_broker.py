"""The broker dies in the middle of a pull, and comes back having forgotten everything."""

from pathlib import Path

import pytest

from tests.support.brokers import MOSQUITTO
from tests.support.live_cell import are_both_pulling, has_nobody_pulling, live_cell
from tests.support.secured_broker import secured

pytestmark = [
    pytest.mark.broker,
    pytest.mark.timeout(300),
    pytest.mark.skipif(MOSQUITTO is None, reason="no Mosquitto"),
]
SPEED = 3.0


@pytest.mark.parametrize("is_back_at_once", [True, False], ids=["at once", "once all stand"])
def test_a_broker_killed_in_mid_pull_leaves_no_lone_pull_and_none_done_twice(
    tmp_path: Path, is_back_at_once: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both arms come to rest by themselves; then it is for a person to let them go on."""
    with secured(tmp_path / "broker") as broker:
        monkeypatch.setenv("BOTHSIDES_SECRETS", str(broker.parties))
        at = f"mqtts://127.0.0.1:{broker.port}"
        with live_cell(tmp_path, at, speed=SPEED) as cell:
            cell.wait_for(are_both_pulling)
            broker.kill()
            if not is_back_at_once:
                cell.wait_for(has_nobody_pulling)
            broker.start()
            ended = cell.wait_end()

    assert ended == "complete", cell.told()
    assert cell.findings() == []
    # One that was cut short and one after it; a broker that is back at once may be in time.
    assert len(cell.judge().started()) >= (1 if is_back_at_once else 2)
    assert cell.side().missing_steps(cell.loaded.plan) == []
    assert "the link works again" in cell.told()
