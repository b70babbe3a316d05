"""The array types that signatures name."""

from typing import Any

import numpy as np
import numpy.typing as npt

ArrayLike = npt.ArrayLike
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
AnyArray = npt.NDArray[Any]
