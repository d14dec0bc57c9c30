"""The lines on which viewers of a run look on."""

import asyncio

from coordinator.page.feed import Feed


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
