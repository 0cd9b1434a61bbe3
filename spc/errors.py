"""Everything the package refuses, in one tree.

    SpcError                  anything the package refuses
    ├── InputError            a value or a request that cannot be used (also a ValueError)
    │   ├── LogError          a check log or event file refused as a whole
    │   ├── CatalogueError    a mistake in a catalogue
    │   └── LayoutError       a mistake in the layout of a sheet
    ├── StoreError            a store that cannot be used, or a change that it refuses
    └── SetupError            something this machine lacks

A message says what was wrong, where, and what to do. A bad row in a log is no error: it is a
`records.QuarantinedRow`, kept beside the good ones.
"""


class SpcError(Exception):
    """Anything the package refuses; `str()` of it is one line a person can act on."""


class InputError(SpcError, ValueError):
    """A value or a request that cannot be used."""


class LogError(InputError):
    """A check log or an event file that is refused as a whole."""


class CatalogueError(InputError):
    """A mistake in a catalogue: file, key, value and remedy."""


class StoreError(SpcError):
    """A store that cannot be opened, that is not what it says, or a change that it refuses."""


class LayoutError(InputError):
    """A mistake in the layout of a sheet, or a sheet that is not as its layout says: file, key, value and remedy."""


class SetupError(SpcError):
    """Something this machine lacks; the message says how to get it."""
