"""Tasks that are stopped while they begin do the forking server no harm."""

from __future__ import annotations

import asyncio
from contextlib import suppress

import pytest

from cli.desk.crew import Crew


def test_a_task_may_be_stopped_at_any_moment_of_its_beginning() -> None:
    async def tried() -> None:
        crew = Crew(2)
        for i in range(60):
            task = asyncio.create_task(crew.run("no_such_task"))
            await asyncio.sleep(i % 12 * 0.0006)
            task.cancel()
            with suppress(asyncio.CancelledError, RuntimeError):
                await task
        with pytest.raises(RuntimeError, match="no_such_task"):  # it still answers
            await crew.run("no_such_task")

    asyncio.run(tried())
