"""Asks a program one question after another, and says what came of each."""

import asyncio
import contextlib
import json
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

from coordinator.conform.check import Outcome, Result, Wrong
from coordinator.conform.vectors.question import MAX_LINE_BYTES, Question

ANSWER_S: Final = 10.0


class _Gone(Exception):
    """The program cannot be asked any more; the text says why."""


async def ask_program(
    program: Path, asked: Sequence[Question], tell: Callable[[Result], None]
) -> list[Result]:
    """What a program answers to each question; `tell` gets it at once. Raises OSError."""
    process = await asyncio.create_subprocess_exec(
        program, stdin=PIPE, stdout=PIPE, limit=MAX_LINE_BYTES
    )
    results: list[Result] = []
    gone: str | None = None
    try:
        for question in asked:
            if gone is None:
                try:
                    found = await _answer(process, question)
                except _Gone as error:
                    gone = str(error)
                    found = _failed(question, "an answer", gone)
            else:
                found = _result(question, Outcome.NOT_MADE, why=gone, is_blocked=True)
            results.append(found)
            tell(found)
        if gone is None:
            results.append(ended := await _end(process))
            tell(ended)
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()
    return results


async def _answer(process: Process, question: Question) -> Result:
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        async with asyncio.timeout(ANSWER_S):
            process.stdin.write(question.line)
            await process.stdin.drain()
            line = await process.stdout.readline()
    except TimeoutError:
        raise _Gone(f"the program did not answer within {ANSWER_S:g} s") from None
    except ConnectionError:
        line = b""
    except ValueError:
        raise _Gone(f"the program wrote a line of more than {MAX_LINE_BYTES} bytes") from None
    if not line.endswith(b"\n"):
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(1.0):
                await process.wait()
        raise _Gone(f"the program ended ({_code(process)})")
    try:
        answer = json.loads(line)
    except ValueError:
        answer = None
    if not isinstance(answer, dict):
        return _failed(question, "one JSON object a line", line[:160].decode("utf-8", "replace"))
    if answer.get("id") != question.id:
        raise _Gone(f"the program answered {answer.get('id')!r} to {question.id!r}")
    if "not_made" in answer:
        return _result(question, Outcome.NOT_MADE, why=str(answer["not_made"]))
    return _judged(question, answer)


def _judged(question: Question, answer: dict[str, Any]) -> Result:
    try:
        question.judge(answer)
    except Wrong as error:
        return _failed(question, error.expected, error.came)
    return _result(question, Outcome.PASS)


async def _end(process: Process) -> Result:
    """Standard input ends: so does the program, with exit code 0."""
    assert process.stdin is not None
    process.stdin.close()
    name, sentence = "program end", "The program ends with its input, with exit code 0."
    try:
        async with asyncio.timeout(ANSWER_S):
            await process.wait()
    except TimeoutError:
        return Result(name, "program", sentence, Outcome.FAIL, "its end", f"none in {ANSWER_S:g} s")
    if process.returncode:
        return Result(name, "program", sentence, Outcome.FAIL, "exit code 0", _code(process))
    return Result(name, "program", sentence, Outcome.PASS)


def _code(process: Process) -> str:
    return f"exit code {process.returncode}" if process.returncode is not None else "it goes on"


def _failed(question: Question, expected: str, came: str) -> Result:
    return _result(question, Outcome.FAIL, expected=expected, came=came)


def _result(
    question: Question,
    outcome: Outcome,
    *,
    expected: str = "",
    came: str = "",
    why: str = "",
    is_blocked: bool = False,
) -> Result:
    sentence = f"{question.ask} answers as {question.file} has it."
    return Result(question.id, question.file, sentence, outcome, expected, came, why, is_blocked)
