"""The options of a play as one value: what it refuses, and what it comes to."""

from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from coordinator.api.bodies import RunBody
from coordinator.api.queue import SetOptionsBody
from coordinator.playing.queue import SetOptions
from coordinator.programs import Switches
from coordinator.programs.loops import MAX_FOR_S, MAX_LOOPS, Loops
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.size import MAX_PROGRAM_BYTES


def test_they_come_to_loops_and_switches() -> None:
    assert (AS_WRITTEN.often, AS_WRITTEN.switches) == (Loops(1), Switches())
    how = PlayOptions(None, 60.0, check_edges=True, optional_stop=True, from_line=7)
    assert how.often == Loops(None, 60.0, check_edges=True)
    assert how.switches == Switches(optional_stop=True, from_line=7)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"loops": 0}, "loops is 0"),
        ({"loops": MAX_LOOPS + 1}, "loops is 10001"),
        ({"for_s": 0.0}, "above 0"),
        ({"for_s": float("nan")}, "above 0"),
        ({"loops": 2, "for_s": 9.0}, "give one"),
        ({"check_edges": True}, "only one loop"),
        ({"from_line": 0}, "the line to begin from is 0"),
        ({"from_line": MAX_PROGRAM_BYTES + 1}, "but must be from 1 to 1000000"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_the_value_and_by_the_api(
    wrong: dict[str, float], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        PlayOptions(**wrong)  # type: ignore[arg-type]
    with pytest.raises(ValidationError):
        RunBody.model_validate({"name": "a.nc", "text": "M2\n", **wrong})


@given(
    st.one_of(
        st.builds(PlayOptions, loops=st.none() | st.integers(1, MAX_LOOPS)),
        st.builds(
            PlayOptions, for_s=st.floats(0.001, MAX_FOR_S), check_edges=st.booleans(),
            block_delete=st.booleans(), optional_stop=st.booleans(), step_by_line=st.booleans(),
            from_line=st.none() | st.integers(1, MAX_PROGRAM_BYTES),
        ),
    )
)  # fmt: skip
def test_the_body_of_a_play_and_an_entry_of_the_queue_carry_all_of_it(how: PlayOptions) -> None:
    body = RunBody.model_validate({"name": "a.nc", "text": "M2\n", **asdict(how)})
    assert body.options == how
    asked = {"type": "set-options", "entry": 1, "options": asdict(how)}
    assert SetOptionsBody.model_validate(asked).edit == SetOptions(1, how)
