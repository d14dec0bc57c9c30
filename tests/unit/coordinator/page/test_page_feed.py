"""The lines on which viewers of a run look on."""

import asyncio

from coordinator.page.feed import NOT_ANSWERED, Feed


def test_a_viewers_line_ends_with_the_run_after_the_last_snapshot() -> None:
    """Found by a run that was still looked at: its end was a page of the server's complaints."""

    async def look() -> list[object]:
        feed = Feed()
        feed.put({"run": 1})
        seen: list[object] = []

        async def follow() -> None:
            async for snapshot in feed.follow():
                seen.append(snapshot)  # noqa: PERF401 (looked at while it grows)

        viewer = asyncio.create_task(follow())
        while not seen:
            await asyncio.sleep(0)
        feed.put({"run": 2})
        feed.end()
        await asyncio.wait_for(viewer, 5)
        assert feed.viewers == 0
        return seen

    assert asyncio.run(look()) == [{"run": 1}, {"run": 2}]


def test_a_slow_viewer_misses_snapshots_and_nobody_waits_for_it() -> None:
    """PG3: the run goes on putting snapshots, whatever its viewers do meanwhile."""

    async def look() -> list[object]:
        feed = Feed()
        feed.put({"run": 1})
        viewer = feed.follow()
        first = await anext(viewer)
        for number in range(2, 1_000):
            feed.put({"run": number})
        return [first, await anext(viewer)]

    assert asyncio.run(look()) == [{"run": 1}, {"run": 999}]


def test_every_call_is_answered_by_the_run_or_for_it() -> None:
    """PG4: an operator who presses a button must read what came of it."""
    sent: list[dict[str, object]] = []

    def gone(content: dict[str, object]) -> None:
        raise BrokenPipeError

    async def call() -> list[dict[str, object]]:
        feed = Feed(sent.append)
        calling = asyncio.create_task(feed.call({"act": "hold"}))
        while not sent:
            await asyncio.sleep(0)
        feed.take_reply({"reply": sent[0]["call"], "outcome": "done", "text": "holding"})
        return [await calling, await Feed(gone).call({}), await Feed().call({})]

    answered, lost, alone = asyncio.run(call())

    assert answered["text"] == "holding"
    assert (lost["outcome"], alone["outcome"]) == (NOT_ANSWERED, "refused")
    assert str(lost["text"]).startswith("not answered within 2 s")
    assert alone["text"] == "there is no run behind this page"
