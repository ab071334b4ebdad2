"""Tells the coordinators, once a day and school, that nobody was asked though somebody should have been."""

from datetime import datetime

from service.core.chains import Purpose
from service.core.district import Role
from service.engine.desk import Desk, Moment, stream_of
from service.engine.expected import Missing, missing
from service.engine.held import held
from service.engine.letters import reader_of
from service.engine.posting import Parcel, post
from service.wording import compose
from service.wording.letters import NoRounds


def tell(desk: Desk, now: datetime) -> tuple[Missing, ...]:
    """Tell of each such school; says which there are. A service that is held tells nobody."""
    with desk.glance() as m:
        found = missing(m)
    if not found:
        return ()
    with desk.moment(now) as m:
        if held(m.tx) is None:
            for each in found:
                _tell(m, each)
    return found


def _tell(m: Moment, found: Missing) -> None:
    school = m.school(found.school)
    for person in m.district.holders(Role.COORDINATOR, found.school):
        with m.read_by(person.id):
            since = m.wall(found.school, found.since, found.date)
        letter = NoRounds(reader_of(m, person, Role.COORDINATOR), school.name, since)
        post(
            m,
            Parcel(
                key=f"no-rounds/{found.school}/{found.date.isoformat()}/{person.id}",
                person=person.id,
                role=Role.COORDINATOR.value,
                purpose=Purpose.CHAIN_END,
                written=compose(letter, person.language),
                cause=(f"no-rounds-{found.school}-{found.date.isoformat()}",),
                stream=stream_of(found.school, found.date),
            ),
        )
