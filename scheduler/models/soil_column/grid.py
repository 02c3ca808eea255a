"""The grid of the soil column: 13 layers to 0.9 m, finest at the surface."""

from __future__ import annotations

import numpy as np

from scheduler.records import FloatArray

LAYERS_MM: tuple[float, ...] = (
    5.0,
    10.0,
    10.0,
    15.0,
    20.0,
    20.0,
    25.0,
    35.0,
    60.0,
    100.0,
    150.0,
    200.0,
    250.0,
)
HEAT_ONLY_LAYERS_MM: tuple[float, ...] = (300.0, 600.0, 1200.0)
WEED_BANDS_MM: tuple[tuple[float, float], ...] = (
    (0.0, 5.0),
    (5.0, 15.0),
    (15.0, 30.0),
    (30.0, 50.0),
)


def band_weights(top_mm: float, bottom_mm: float, n_layers: int = len(LAYERS_MM)) -> FloatArray:
    """Share of each layer in the band [top_mm, bottom_mm), by overlap; the shares add to one.

    Parameters
    ----------
    top_mm, bottom_mm : float
        Limits of the band below the surface [mm]; the band must lie inside the grid.
    n_layers : int
        Number of layers from the top to return shares for.

    Returns
    -------
    numpy.ndarray
        Shares, shape (n_layers,) [-].

    Raises
    ------
    ValueError
        If the band is empty or reaches below the layers asked for.

    Notes
    -----
    Definition of this project. Range: bands inside the layers of the grid.

    Examples
    --------
    >>> band_weights(0.0, 25.0, 4)
    array([0.2, 0.4, 0.4, 0. ])
    """
    edges = np.concatenate(([0.0], np.cumsum(LAYERS_MM[:n_layers])))
    if not 0.0 <= top_mm < bottom_mm <= edges[-1] + 1e-9:
        msg = (
            f"soil band {top_mm:g}-{bottom_mm:g} mm: must lie inside 0-{edges[-1]:g} mm, "
            "top above bottom; ask for another band"
        )
        raise ValueError(msg)
    overlap = np.clip(np.minimum(edges[1:], bottom_mm) - np.maximum(edges[:-1], top_mm), 0.0, None)
    shares: FloatArray = overlap / (bottom_mm - top_mm)
    return shares
