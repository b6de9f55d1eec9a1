"""Look into the wheel and the sdist that are named: all that is needed, no test or sample in the wheel."""

from __future__ import annotations

import sys
import tarfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
DATA = (".csv", ".txt", ".html", ".css", ".js", ".ttf")

wheel, sdist = (Path(name) for name in sys.argv[1:3])
with zipfile.ZipFile(wheel) as archive:
    installed = set(archive.namelist())
with tarfile.open(sdist) as archive:
    packed = {name.partition("/")[2] for name in archive.getnames()}

strangers = sorted(
    name for name in installed if Path(name).parts[0] not in ("cli", "pipeline") and ".dist-info/" not in name
)
assert not strangers, f"the wheel installs {strangers}"
needed = {
    str(path.relative_to(ROOT))
    for room in ("cli", "pipeline")
    for path in (ROOT / room).rglob("*")
    if path.suffix in (".py", *DATA) and "__pycache__" not in path.parts
}
missing = sorted(needed - installed)
assert not missing, f"the wheel lacks {missing}"
also = {"pyproject.toml", "README.md", "LICENSE"}
missing = sorted((needed | also) - packed)
assert not missing, f"the sdist lacks {missing}"
licences = [name for name in installed if "licen" in name.lower()]
assert len(licences) >= 2, (
    f"the licences of the program and of its typeface belong into the wheel, not just {licences}"
)
print(
    f"release: {len(installed)} files in the wheel, {len(packed)} in the sdist; "
    f"licences: {', '.join(sorted(licences))}"
)
