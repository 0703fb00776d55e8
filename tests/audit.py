"""Dependencies against known vulnerabilities, and what is installed against what is pinned: python -m tests.audit"""

import json
import subprocess
import sys
from importlib.metadata import distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PINS = Path(__file__).resolve().parent.parent / "constraints.txt"


def pinned() -> dict[str, str]:
    """Version by name, as constraints.txt has them."""
    lines = [Requirement(line) for line in PINS.read_text().splitlines() if line and not line.startswith("#")]
    return {
        canonicalize_name(line.name): str(line.specifier).removeprefix("==")
        for line in lines
        if line.marker is None or line.marker.evaluate()
    }


def main() -> int:
    pins = pinned()
    own = {canonicalize_name(d.name or ""): d.version for d in distributions()}
    astray = {name: (own[name], pins[name]) for name in own if name in pins and own[name] != pins[name]}
    if astray:
        print(f"installed and pinned differ: {astray}")
        return 1
    asked = [sys.executable, "-m", "pip_audit", "-r", str(PINS), "--no-deps", "--disable-pip", "-f", "json"]
    said = subprocess.run(asked, capture_output=True, text=True, check=False)
    try:
        packages = json.loads(said.stdout)["dependencies"]
    except (ValueError, KeyError):
        packages = [{"name": name, "skip_reason": "no answer"} for name in pins]
    hurt = [(p["name"], [v["id"] for v in p["vulns"]]) for p in packages if p.get("vulns")]
    skipped = [p["name"] for p in packages if "skip_reason" in p]
    print(
        f"{len(pins)} packages pinned, {len(packages) - len(skipped)} compared with published advisories, {len(hurt)} with known ones"
    )
    if skipped:
        print(f"NOT AUDITED, because the advisory service did not answer for them: {len(skipped)} packages")
    for name, advisories in hurt:
        print(f"  {name}: {', '.join(advisories)}")
    return 1 if hurt else 0


if __name__ == "__main__":
    sys.exit(main())
