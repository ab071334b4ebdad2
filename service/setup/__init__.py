"""The coordinator's configuration folder: read, judge, compare, write back."""

from service.setup.build import build
from service.setup.changes import Change, Field, compare
from service.setup.docs import Document, Documents
from service.setup.export import export
from service.setup.folder import Loaded, load
from service.setup.problems import Problem
from service.setup.starter import new

__all__ = [
    "Change",
    "Document",
    "Documents",
    "Field",
    "Loaded",
    "Problem",
    "build",
    "compare",
    "export",
    "load",
    "new",
]
