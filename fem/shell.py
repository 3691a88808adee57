"""What a shallow dome adds to the strains of a plate.

Depends on numpy only. The middle surface is z0(x, y); u and v stay horizontal and w vertical, so that the fields and
the rim conditions are those of the flat plate.
"""

import numpy as np


def membrane_rows(gradients: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """Contributions of the deflection w to the three membrane strains of a shallow shell, (n, 3, n_local).

    Parameters
    ----------
    gradients : (n, 2, n_local) array, 1/m
        Of a triangle's shape functions at its points.
    slope : (n, 2) array
        z0,x and z0,y there.

    References
    ----------
    K. Marguerre, Zur Theorie der gekruemmten Platte grosser Formaenderung, Proc. 5th Int. Congr. Appl. Mech. (1938)
    93-101, linear part: z0,x w,x; z0,y w,y; z0,x w,y + z0,y w,x.
    """
    dx, dy = gradients[:, 0], gradients[:, 1]
    sx, sy = slope[:, 0, None], slope[:, 1, None]
    return np.stack([sx * dx, sy * dy, sx * dy + sy * dx], axis=1)
