"""Every refusal: what was wrong, where, the rule, and what to do next."""


class RoofError(Exception):
    """Base of everything Plumbdrop refuses; its text is fit to show to a user."""


class MeasureError(RoofError, ValueError):
    """A measured car that cannot be right, or cannot be read.

    Parameters
    ----------
    message : str
        One sentence with the place, the value and the rule.
    next_step : str
        What the reader should do about it.
    """

    def __init__(self, message, next_step=""):
        self.message, self.next_step = message, next_step
        super().__init__(f"{message} {next_step}".strip())


class PlanError(RoofError, ValueError):
    """A plan this car cannot be built to.

    Parameters
    ----------
    parameter : str
        Name of the plan's parameter, as ``--set`` takes it.
    message, next_step : str
        The rule with its limit on this car in the user's units; what to do.
    value_mm, limit_mm : float, optional
        The refused value and the limit. [mm, or degrees for an angle]
    """

    def __init__(self, parameter, message, next_step="", *, value_mm=None, limit_mm=None):
        self.parameter, self.message, self.next_step = parameter, message, next_step
        self.value_mm, self.limit_mm = value_mm, limit_mm
        super().__init__(f"{parameter} {message} {next_step}".strip())


class FileRefused(RoofError, OSError):
    """A file or folder that cannot be read or written as asked."""

    def __init__(self, path, message, next_step=""):
        self.path, self.message, self.next_step = path, message, next_step
        super().__init__(f"{path}: {message} {next_step}".strip())

    def __str__(self):
        return f"{self.path}: {self.message} {self.next_step}".strip()
