"""Types of what `import simkit` offers; loaded on first use by __init__.py."""

from simkit.errors import EngineError as EngineError
from simkit.errors import InputError as InputError
from simkit.errors import NotWritten as NotWritten
from simkit.errors import SimkitError as SimkitError
from simkit.python.files import Machine as Machine
from simkit.python.files import Scenario as Scenario
from simkit.python.files import load_machine as load_machine
from simkit.python.files import load_scenario as load_scenario
from simkit.python.files import machine as machine
from simkit.python.files import scenario as scenario
from simkit.python.outcome import Outcome as Outcome
from simkit.python.verbs import Verb

__version__: str
doctor: Verb
check: Verb
deck: Verb
run: Verb
part: Verb
compare: Verb
map: Verb
bring_up: Verb
fit: Verb
protect: Verb
new: Verb
explain: Verb
schema: Verb
