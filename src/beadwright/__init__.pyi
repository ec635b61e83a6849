from beadwright.brep import Model as Model
from beadwright.errors import BeadwrightError as BeadwrightError
from beadwright.errors import GeometryError as GeometryError
from beadwright.errors import InputError as InputError
from beadwright.errors import InternalError as InternalError
from beadwright.errors import OutputError as OutputError
from beadwright.errors import SettingsError as SettingsError
from beadwright.errors import StepError as StepError
from beadwright.numeric import Finding as Finding
from beadwright.pipeline import Examination as Examination
from beadwright.pipeline import Pieces as Pieces
from beadwright.pipeline import PlaneSection as PlaneSection
from beadwright.pipeline import PlanResult as PlanResult
from beadwright.pipeline import examine as examine
from beadwright.pipeline import plan as plan
from beadwright.pipeline import plan_pieces as plan_pieces
from beadwright.pipeline import read_step as read_step
from beadwright.pipeline import section_at as section_at
from beadwright.pipeline import write_section as write_section

__version__: str
