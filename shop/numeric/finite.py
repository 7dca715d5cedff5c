"""What is no number is refused by its name, before anything is concluded from it."""

import numpy as np


class NotANumber(ValueError):
    """A value that is NaN or infinite; the message says which."""


def finite(**values) -> None:
    """Refuse NaN and infinities in numbers and arrays of any shape; None is none.

    Raises NotANumber with the name of the first argument that holds one.
    """
    for name, value in values.items():
        if value is None:
            continue
        array = np.asarray(value)
        if array.size and not np.isfinite(array).all():
            odd = array[~np.isfinite(array)].flat[0]
            raise NotANumber(f"{name} must be a number, not {odd}")
