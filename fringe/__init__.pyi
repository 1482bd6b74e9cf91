"""Types of the public names; `__init__.py` imports each when it is first used."""

from fringe.api.design import render as render
from fringe.api.design import tolerance as tolerance
from fringe.api.plates import log_plate_visit as log_plate_visit
from fringe.api.plates import plate_state as plate_state
from fringe.api.readings import budget as budget
from fringe.api.readings import read as read
from fringe.api.readings import read_burst as read_burst
from fringe.api.readings import read_options as read_options
from fringe.api.readings import to_dataset as to_dataset
from fringe.api.records import log_visit as log_visit
from fringe.api.records import match as match
from fringe.api.records import open_surface as open_surface
from fringe.api.records import progress as progress
from fringe.errors import BadInput as BadInput
from fringe.errors import FringeError as FringeError
from fringe.errors import Refused as Refused
from fringe.optics.lamps import lamp as lamp
from fringe.orders.options import ReadOptions as ReadOptions
from fringe.orders.reading import Reading as Reading
from fringe.photo.load import Photo as Photo
from fringe.photo.load import load_photo as load_photo

__version__: str
__all__: list[str]
