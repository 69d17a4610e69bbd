"""Whether an outcome is separated by a design, so that ordinary logistic regression has no finite answer."""

import numpy as np
import numpy.typing as npt

from audit.stats.patient_patterns import check_model, distinct_rows

# A linear programme's answer nearer to 0 than this is 0.
NEGLIGIBLE = 1e-7


def separated_columns(design: npt.ArrayLike, outcome: npt.ArrayLike) -> tuple[int, ...]:
    """Places of the columns whose ordinary maximum likelihood coefficient is infinite; empty without separation.

    design: units x coefficients. outcome: 0 or 1 for each unit. Refuses with ValueError what `check_model` refuses.
    A direction b with x b >= 0 at every event and x b <= 0 at every non-event, not 0 everywhere, lets the likelihood
    rise for ever; a column is separated if some such direction moves its coefficient.

    Albert A, Anderson JA. Biometrika 1984;71:1-10; Konis K. Linear programming algorithms for detecting separated
    data in binary logistic regression models. DPhil thesis, University of Oxford 2007.
    Referee: two published data sets, and in the tests the ordinary fit, which runs away exactly where there is
    separation.
    """
    from scipy.optimize import linprog

    rows, results = check_model(design, outcome)
    scaled = rows / np.sqrt((rows**2).mean(axis=0))
    kinds = distinct_rows(np.column_stack([scaled, results]))
    _, example = np.unique(kinds, return_index=True)
    bounds = scaled[example] * np.where(results[example] == 1, -1.0, 1.0)[:, None]
    found = []
    for place in range(rows.shape[1]):
        for sign in (1.0, -1.0):
            aim = np.zeros(rows.shape[1])
            aim[place] = -sign
            answer = linprog(aim, A_ub=bounds, b_ub=np.zeros(len(bounds)), bounds=(-1, 1), method="highs")
            if answer.status != 0:
                raise ValueError(f"design cannot be checked for separation: {answer.message}")
            if answer.fun < -NEGLIGIBLE:
                found.append(place)
                break
    return tuple(found)
