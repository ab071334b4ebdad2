"""The coordinator's configuration folder: read, judge, compare, write back."""

from service.setup.build import build
from service.setup.folder import Loaded, load
from service.setup.problems import Problem

__all__ = ["Loaded", "Problem", "build", "load"]
