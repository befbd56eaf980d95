"""The references of the appendix: publications that docstrings of the program name as the source of a formula, and the standards followed.

Each stands here with the module whose docstring names it, and is printed only where the text of the appendix cites it.
"""

from __future__ import annotations

from typing import NamedTuple


class Reference(NamedTuple):
    """cited : as the text cites it. full : as the list prints it. module : whose docstring names it. from_memory : not compared with the publication."""

    cited: str
    full: str
    module: str
    from_memory: bool = False


FROM_MEMORY_MARK = "†"
FROM_MEMORY_WORDS = f"{FROM_MEMORY_MARK} Cited from memory; not compared with the publication. Check before submission."

REFERENCES = (
    Reference("Bhattacharyya 1943", "Bhattacharyya A. 1943. On a measure of divergence between two statistical populations. Bulletin of the Calcutta Mathematical Society 35: 99.", "movement/overlap.py"),
    Reference("Birge 1932", "Birge R. T. 1932. The calculation of errors by the method of least squares. Physical Review 40: 207.", "location/ground_fix.py", True),
    Reference("Buckland et al. 2001", "Buckland S. T. et al. 2001. Introduction to distance sampling. Oxford University Press.", "search/theory.py", True),
    Reference("Chapman 2020", "Chapman A. D. 2020. Current best practices for generalizing sensitive species occurrence data. GBIF Secretariat, Copenhagen.", "exchange/generalising.py"),
    Reference("Clopper & Pearson 1934", "Clopper C. J. & Pearson E. S. 1934. The use of confidence or fiducial limits illustrated in the case of the binomial. Biometrika 26: 404.", "calibration/coverage.py", True),
    Reference("Davison & Hinkley 1997", "Davison A. C. & Hinkley D. V. 1997. Bootstrap methods and their application. Cambridge University Press.", "calibration/errors.py", True),
    Reference("Gelman et al. 2013", "Gelman A. et al. 2013. Bayesian data analysis, 3rd edition.", "movement/true_places.py"),
    Reference("Good 1952", "Good I. J. 1952. Rational decisions. Journal of the Royal Statistical Society B 14: 107.", "calibration/widening.py", True),
    Reference("Holm 1979", "Holm S. 1979. A simple sequentially rejective multiple test procedure. Scandinavian Journal of Statistics 6: 65.", "movement/displacement.py"),
    Reference("Horne et al. 2007", "Horne J. S. et al. 2007. Analyzing animal movements using Brownian bridges. Ecology 88: 2354.", "movement/track.py"),
    Reference("ITU-R P.526-15", "International Telecommunication Union, Recommendation ITU-R P.526-15. Propagation by diffraction.", "radio/diffraction.py"),
    Reference("ITU-R P.833-9", "International Telecommunication Union, Recommendation ITU-R P.833-9. Attenuation in vegetation.", "radio/canopy.py"),
    Reference("Jennrich & Turner 1969", "Jennrich R. I. & Turner F. B. 1969. Measurement of non-circular home range. Journal of Theoretical Biology 22: 227.", "movement/ranges.py"),
    Reference("Kaplan & Meier 1958", "Kaplan E. L. & Meier P. 1958. Nonparametric estimation from incomplete observations. Journal of the American Statistical Association 53: 457.", "movement/survival.py", True),
    Reference("Lenth 1981", "Lenth R. V. 1981. On finding the source of a signal. Technometrics 23: 149.", "location/bearings.py"),
    Reference("Mardia 1972", "Mardia K. V. 1972. Statistics of directional data.", "location/bearings.py"),
    Reference("Minka 2001", "Minka T. P. 2001. Expectation propagation for approximate Bayesian inference. Proceedings of the 17th Conference on Uncertainty in Artificial Intelligence.", "radio/evidence.py", True),
    Reference("Pollock et al. 1989", "Pollock K. H. et al. 1989. Survival analysis in telemetry studies: the staggered entry design. Journal of Wildlife Management 53: 7.", "movement/survival.py", True),
    Reference("Rappaport 2002", "Rappaport T. S. 2002. Wireless communications, 2nd edition.", "radio/propagation.py"),
    Reference("Arasaratnam & Haykin 2009", "Arasaratnam I. & Haykin S. 2009. Cubature Kalman filters. IEEE Transactions on Automatic Control 54: 1254.", "radio/fitting.py", True),
    Reference("Silverman 1986", "Silverman B. W. 1986. Density estimation for statistics and data analysis.", "movement/kernel.py"),
)


def cited_in(text: str) -> list[Reference]:
    """The references whose short form stands in a text, by name."""
    return sorted((reference for reference in REFERENCES if reference.cited in text), key=lambda reference: reference.cited)
