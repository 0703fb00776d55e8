"""Build hook: copies htmx out of the installed django-htmx package into static/htmx (git-ignored)."""

import importlib.util
import shutil
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class CopyHtmx(BuildHookInterface):
    def initialize(self, version, build_data):
        spec = importlib.util.find_spec("django_htmx")
        source = Path(spec.submodule_search_locations[0]) / "static" / "django_htmx" / "htmx-2.min.js"
        target = Path(self.root) / "static" / "htmx" / "htmx.min.js"
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
