"""A day replayed on a stepped clock: the same core and engine as in service, no network, nothing kept."""

from service.rehearsal.run import rehearse
from service.rehearsal.script import BadScript, Script, read_script
from service.rehearsal.timeline import timeline

__all__ = ["BadScript", "Script", "read_script", "rehearse", "timeline"]
