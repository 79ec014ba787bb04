from __future__ import annotations

import asyncio
import threading

import pytest

from logger.errors import InputError
from logger.web.jobs import Job, Jobs


async def ended(job: Job) -> list[str]:
    async for _ in job.changes(1.0):
        pass
    return job.news


def test_work_is_done_beside_the_loop_and_its_sentences_come_in_order() -> None:
    def work(job: Job) -> str:
        for number in range(50):
            job.say(f"part {number}")
        job.draw("<svg/>")
        return "/there"

    async def tried() -> Job:
        job = Jobs().begin("a", work, back="/")
        await ended(job)
        return job

    job = asyncio.run(tried())
    assert (job.state, job.where, job.sketch) == ("done", "/there", "<svg/>")
    assert job.news == [f"part {number}" for number in range(50)]


def test_one_at_a_time() -> None:
    async def tried() -> None:
        jobs, gate = Jobs(), threading.Event()
        first = jobs.begin("first", lambda _: "/" if gate.wait(20) else "", back="/")
        with pytest.raises(InputError, match="“first” is still under way"):
            jobs.begin("second", lambda _: "/", back="/")
        assert jobs.under_way is first
        gate.set()
        await ended(first)
        assert jobs.under_way is None
        await ended(jobs.begin("second", lambda _: "/", back="/"))
        assert jobs.get(1) is first
        assert jobs.get(99) is None

    asyncio.run(tried())


def test_what_goes_wrong_is_told_in_one_line_and_a_fault_of_ours_is_called_so() -> None:
    def refuse(_: Job) -> str:
        raise InputError("here: found\nthat")

    def fail(_: Job) -> str:
        raise ZeroDivisionError("division by zero")

    async def tried() -> tuple[Job, Job]:
        jobs = Jobs()
        first = jobs.begin("a", refuse, back="/")
        await ended(first)
        second = jobs.begin("b", fail, back="/")
        await ended(second)
        return first, second

    first, second = asyncio.run(tried())
    assert (first.state, first.wrong) == ("failed", "here: found that")
    assert second.wrong.startswith("this is a fault of the program, not yours (ZeroDivisionError")


def test_it_ends_at_its_next_sentence_when_somebody_stops_it() -> None:
    def endless(job: Job) -> str:
        while True:
            job.say("on and on")

    async def tried() -> Job:
        job = Jobs().begin("a", endless, back="/")
        job.stop()
        await ended(job)
        return job

    job = asyncio.run(tried())
    assert (job.state, job.where) == ("stopped", "")
    assert job.enough.is_set()
