"""The directed stories: every promise holds in each, and together they take every transition of the chase."""

import pytest

from tests.simulation.runs import acted
from tests.simulation.stories import STORIES
from tests.simulation.transitions import Taken


@pytest.mark.slow
def test_every_promise_is_kept_and_every_transition_of_the_chase_taken() -> None:
    taken, wrong = Taken(), {}
    for story in STORIES:
        run = acted(story)
        taken.times.update(run.taken.times)
        wrong |= {story.name: run.wrong} if run.wrong else {}
    assert wrong == {}
    assert taken.missing() == []


def test_no_two_stories_have_one_name() -> None:
    assert len({story.name for story in STORIES}) == len(STORIES)
