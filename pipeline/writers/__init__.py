"""One module an output; each renders a pattern to text or bytes and writes nothing itself.

Reportlab runs settings that it finds in the home folder or on the path of modules; under their names stand
empty modules before it is imported, so that it looks no further.
"""

import sys
from types import ModuleType

for _name in ("reportlab_mods", "reportlab_settings"):
    sys.modules.setdefault(_name, ModuleType(_name))
