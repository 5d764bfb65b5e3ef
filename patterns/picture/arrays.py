"""Array types by what they hold; shapes and units stand in the docstrings that use them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
ComplexArray = npt.NDArray[np.complex128]
FloatingArray = npt.NDArray[np.floating]  # 32 or 64 bits, as they come
IntArray = npt.NDArray[np.int64]
IndexArray = npt.NDArray[np.intp]
UInt8Array = npt.NDArray[np.uint8]
UInt32Array = npt.NDArray[np.uint32]
BoolArray = npt.NDArray[np.bool_]
