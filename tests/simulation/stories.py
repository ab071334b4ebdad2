"""The directed stories, by the phase of the chase that each is about. Children 1, 2 and 3 are asked about at 08:05; a
cable is tried for 10 minutes before the audiologist hears of it, a device that is lost is told at once.
"""

from service.core.reading import Command
from tests.simulation.directed import Story, acts, edits, gives, line, presses, says

TRYING = (
    Story(
        "the audiologist takes it while the checker still tries, twice, and takes both promises back",
        (
            says("08:06", "room", "1 cable, rest ok"),
            says("08:07", "au", "mine 20", newest=False),
            says("08:08", "au", "mine 25", newest=False),
            says("08:09", "au", "undo", newest=False),
            says("08:10", "au", "undo", newest=False),
            says("08:11", "room", "1 hook", newest=False),
            gives("08:12", "away au"),
            says("08:13", "room", "1 fixed", newest=False),
            says("08:14", "room", "undo", newest=False),
        ),
    ),
    Story(
        "what is tried does not help, and nobody can be told",
        (
            gives("07:00", "away au"),
            gives("07:01", "away co"),
            says("08:06", "room", "1 cable, rest ok"),
            says("08:07", "room", "2 cable", newest=False),
            says("08:08", "room", "1 no", newest=False),
        ),
    ),
    Story(
        "the answer to a report comes back from the line; the report is taken back",
        (
            line("08:06", "08:08", "room", "bounce"),
            says("08:07", "room", "1 cable, rest ok"),
            says("08:11", "room", "undo", newest=False),
            says("08:13", "room", "1 cable, rest ok"),
            says("08:14", "room", "no", newest=False),
        ),
    ),
    Story(
        "the guardian says that it works while the checker still tries; school is out early",
        (
            says("08:06", "room", "1 cable, rest ok"),
            says("08:07", "room", "2 cable", newest=False),
            says("08:08", "guardian", "working", newest=False),
            gives("08:09", "early end 08:10"),
        ),
        settings={"try for": "40 min"},
    ),
)

CLIMBING = (
    Story(
        "everybody who could be told of a loss is away",
        (gives("07:00", "away au"), gives("07:01", "away co"), says("08:06", "room", "1 lost, rest ok")),
    ),
    Story(
        "a chain that carries on comes to its last at the last bell, who is away",
        (
            gives("07:00", "away co"),
            says("08:06", "room", "1 lost, rest ok"),
        ),
        fault=(("au", "end of day"), ("co", "end of day")),
        carries_on=True,
    ),
    Story(
        "a chain that carries on goes on to the next at the last bell",
        (says("08:06", "room", "1 lost, rest ok"), says("16:00", "co", "mine 10")),
        fault=(("au", "end of day"), ("co", "10 min")),
        carries_on=True,
    ),
    Story(
        "the only contact cannot be reached at all",
        (line("08:00", "09:00", "au", "refuse"), says("08:06", "room", "1 lost, rest ok")),
        fault=(("au", "10 min"),),
    ),
    Story(
        "it is reported again, then taken back as a mistake",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "second", "1 cable", newest=False),
            says("08:08", "room", "undo", newest=False),
        ),
    ),
    Story(
        "the alert comes back from the line",
        (line("08:00", "09:00", "au", "bounce"), says("08:06", "room", "1 lost, rest ok")),
    ),
    Story(
        "more time that is taken back leaves less than nothing",
        (
            says("08:14", "room", "wait 10"),
            says("08:17", "room", "undo", newest=False),
        ),
        silence=(("checker", "10 min"),),
    ),
    Story(
        "more time that is taken back: the second is told at once",
        (says("08:14", "room", "wait 10"), says("08:17", "room", "undo", newest=False), says("08:18", "second", "ok")),
    ),
    Story(
        "nobody wants it",
        (
            says("08:06", "room", "not me"),
            says("08:07", "second", "not me"),
            says("08:08", "co", "not me"),
        ),
    ),
    Story(
        "the turn passes to who is there, until nobody is",
        (gives("08:06", "away room"), gives("08:07", "away second"), gives("08:08", "away co")),
    ),
)

IN_HAND = (
    Story(
        "a promise is taken over, given back, and who has it now is away",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "au", "mine 20"),
            says("08:08", "co", "mine 20", newest=False),
            says("08:09", "au", "undo", newest=False),
            says("08:10", "room", "1 cable", newest=False),
            gives("08:11", "away co"),
        ),
        fault=(("au", "10 min"), ("co", "10 min"), ("nurse", "end of day")),
    ),
    Story(
        "a promise is given back, given again, and put to the next",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "au", "mine 20"),
            says("08:08", "au", "undo", newest=False),
            says("08:09", "au", "mine 20"),
            says("08:10", "au", "not me", newest=False),
        ),
    ),
    Story(
        "a promise is given back in the last step",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "au", "mine 20"),
            says("08:08", "au", "not me", newest=False),
        ),
        fault=(("au", "10 min"),),
    ),
    Story(
        "a promise is taken back when the time of the last contact is over",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:14", "au", "mine 30"),
            says("08:18", "au", "undo", newest=False),
        ),
        fault=(("au", "10 min"),),
    ),
    Story(
        "who promised is away, and nobody is after them",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "au", "mine 20"),
            gives("08:08", "away au"),
            says("08:09", "au", "mine 1", newest=False),
            says("08:11", "au", "undo", newest=False),
        ),
        fault=(("au", "10 min"),),
    ),
    Story(
        "the alert comes back when somebody has it in hand already, who hears that it was a mistake",
        (
            line("08:00", "08:08", "au", "bounce"),
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "au", "mine 60"),
            says("08:08", "room", "undo", newest=False),
        ),
    ),
    Story(
        "the coordinator takes what still waits in the audiologist's tray; at home it works",
        (
            says("08:06", "room", "2 lost, rest ok"),
            says("08:07", "room", "1 lost", newest=False),
            says("08:07:30", "co", "mine 30", newest=False),
            says("08:09", "guardian", "working", newest=False),
        ),
    ),
    Story(
        "who has it in hand reported it, and takes all of it back",
        (
            says("08:06", "room", "2 ok"),
            says("08:07", "room", "3 ok"),
            says("08:16", "au", "1 lost mine 20"),
            says("08:18", "au", "undo", newest=False),
        ),
        silence=(("checker", "10 min"), ("au", "end of day")),
        fault=(("au", "10 min"), ("co", "end of day")),
    ),
    Story(
        "the coordinator has it in hand before anybody was told; the checker wants time, and the bells are late",
        (
            says("08:07", "co", "mine 30", newest=False),
            says("08:08", "room", "wait 5"),
            gives("08:09", "delay 1h"),
            says("09:00", "co", "not me", newest=False),
        ),
    ),
    Story(
        "in hand until the last bell",
        (
            says("08:06", "room", "1 lost"),
            says("13:50", "second", "mine 60"),
            says("14:00", "au", "mine 60"),
        ),
        silence=(("checker", "10 min"), ("second", "end of day")),
        days=2,
    ),
)

NOBODY_LEFT = (
    Story(
        "nobody is left: it is reported again, works at home, is put right, is broken after all",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:18", "room", "1 cable", newest=False),
            gives("08:19", "away au"),
            says("08:20", "room", "1 fixed", newest=False),
            says("08:21", "room", "undo", newest=False),
            says("08:23", "guardian", "working", newest=False),
        ),
        fault=(("au", "10 min"),),
    ),
    Story(
        "nobody is left, and it is taken back",
        (
            line("08:06", "08:09", "au", "bounce"),
            says("08:06", "room", "1 lost, rest ok"),
            says("08:10", "room", "undo", newest=False),
        ),
        fault=(("au", "5 min"),),
    ),
    Story(
        "nobody is left of a silence, and the bells are late",
        (
            line("08:15", "08:20", "co", "bounce"),
            gives("08:16", "delay 1h"),
            presses("08:17", "room", "c0", "not done", then="second"),
            says("08:18", "co", "mine 1"),
            says("08:20", "co", "undo", newest=False),
            says("08:21", "room", "ok"),
        ),
        silence=(("checker", "10 min"),),
    ),
)

SAID = (
    Story(
        "the guardian says that it works; it is promised, given back, reported again, and nobody is left",
        (
            line("08:06", "08:08", "guardian", "bounce"),
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "guardian", "working"),
            gives("08:08", "away guardian"),
            says("08:10", "co", "mine 20", newest=False),
            says("08:11", "co", "undo", newest=False),
            says("08:12", "guardian", "working", newest=False),
            says("08:13", "room", "1 cable", newest=False),
        ),
        fault=(("guardian", "10 min"), ("co", "10 min")),
    ),
    Story(
        "it works at home, and after all it does not, and nobody is after the guardian",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "guardian", "working"),
            says("08:08", "guardian", "undo", newest=False),
        ),
        fault=(("guardian", "10 min"),),
    ),
    Story(
        "the guardian says that it works, and the report is taken back",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "au", "mine 20"),
            says("08:08", "guardian", "working", newest=False),
            says("08:09", "au", "undo", newest=False),
            says("08:10", "room", "undo", newest=False),
            says("08:11", "room", "1 ok", newest=False),
            says("08:12", "room", "undo", newest=False),
        ),
    ),
    Story(
        "while the audiologist's alert still waits, it works at home",
        (
            says("08:06", "room", "2 lost, rest ok"),
            says("08:07", "room", "1 lost", newest=False),
            says("08:07:30", "guardian", "working", newest=False),
        ),
    ),
    Story(
        "the guardian says that it works before the checker looks, who then has no time",
        (
            says("08:06", "guardian", "working", newest=False),
            says("08:07", "room", "wait 5"),
            presses("08:08", "room", "c0", "not done", then="second"),
            gives("08:09", "delay 1h"),
        ),
    ),
)

OVER = (
    Story(
        "an alert comes back after the end",
        (
            line("08:00", "09:00", "au", "bounce"),
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "room", "1 fixed", newest=False),
        ),
    ),
    Story(
        "put right by who has it in hand, and not after all",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("08:07", "nurse", "mine 20", newest=False),
            says("08:08", "nurse", "fixed", newest=False),
            says("08:09", "nurse", "undo", newest=False),
        ),
        fault=(("nurse", "10 min"), ("co", "end of day")),
    ),
)

OVERNIGHT = (
    Story(
        "one alert comes back after the last bell, one is accepted after it, and both go on in the morning",
        (
            line("14:28", "14:29", "au", "bounce"),
            says("14:28:10", "room", "2 lost", newest=False),
            line("14:29:58", "14:30:10", "au", "slow"),
            says("14:29:59", "room", "3 lost", newest=False),
        ),
        silence=(("checker", "end of day"),),
        settings={"gather": "0 min"},
        days=2,
    ),
    Story(
        "an alert waits in the tray over the last bell",
        (
            says("14:28:30", "room", "2 lost", newest=False),
            says("14:29:30", "room", "3 lost", newest=False),
        ),
        silence=(("checker", "end of day"),),
    ),
    Story(
        "after school it is taken in hand, given back, reported again, put right, taken back",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("15:00", "au", "mine 20"),
            says("15:01", "au", "undo", newest=False),
            says("15:02", "au", "mine 20"),
            says("15:03", "au", "not me", newest=False),
            says("15:04", "room", "1 cable", newest=False),
            gives("15:05", "away au"),
            says("15:06", "room", "1 fixed", newest=False),
            says("15:07", "room", "undo", newest=False),
            says("15:20", "room", "1 fixed", newest=False),
        ),
    ),
    Story(
        "after school the report is taken back, and another works at home",
        (
            says("08:06", "room", "1 lost, rest ok"),
            says("15:00", "room", "2 lost", newest=False),
            says("15:01", "room", "undo", newest=False),
            says("15:02", "guardian", "working", newest=False),
        ),
    ),
)

ALARM = (
    Story(
        "an emergency over the last bell, answered in every way that does not end it",
        (
            line("14:20", "14:21", "nurse", "bounce"),
            says("14:20", "room", "1 swallowed a battery", newest=False),
            says("14:21", "second", "1 swallowed a battery", newest=False),
            says("14:22", "co", "mine 20"),
            says("14:23", "co", "undo", newest=False),
            acts("14:24", "co", "ch-fault-c0-morning-2026-10-05-1", Command.WORKING),
            gives("14:25", "away au"),
            says("14:26", "room", "1 away", newest=False),
            says("14:31", "nurse", "found"),
            says("14:32", "nurse", "yes"),
        ),
        silence=(("checker", "end of day"),),
    ),
    Story(
        "whoever said that the child is away takes that back once the emergency is over",
        (
            says("08:06", "room", "1 swallowed a battery"),
            says("08:07", "room", "1 away", newest=False),
            says("08:08", "nurse", "found"),
            says("08:09", "nurse", "yes"),
            says("08:10", "room", "undo", newest=False),
        ),
    ),
    Story(
        "the school is taken out of the folder in the midst of an emergency",
        (
            says("08:06", "room", "1 swallowed a battery"),
            edits("08:20", "the school is taken out of the folder", {"remove": ("schools", "s0")}),
        ),
        schools=("s0", "s1"),
    ),
)

STORIES = (*TRYING, *CLIMBING, *IN_HAND, *NOBODY_LEFT, *SAID, *OVER, *OVERNIGHT, *ALARM)
