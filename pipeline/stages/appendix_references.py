"""The references of the appendix: publications that docstrings of the program name as the source of a formula, and the standards followed.

Each stands here with the module whose docstring names it, and is printed only where the text of the appendix cites it. One style for all:
authors, year, title, journal with volume(number) and pages, or publisher and place; a recommendation or standard by its number. No identifier
is given that was not read. Where an entry was compared with another list of references, that list is named; the publications themselves were
not at hand, except where "read" is said.
"""

from __future__ import annotations

from typing import NamedTuple


class Reference(NamedTuple):
    """cited : as the text cites it. full : as the list prints it. module : whose docstring names it. compared_with : where every part of the entry was found, "" where a part is from memory."""

    cited: str
    full: str
    module: str
    compared_with: str = ""


FROM_MEMORY_MARK = "†"
FROM_MEMORY_WORDS = f"{FROM_MEMORY_MARK} Part of this entry was not compared with another source."

REFERENCES = (
    Reference("Bhattacharyya 1943", "Bhattacharyya A. 1943. On a measure of divergence between two statistical populations defined by their probability distributions. Bulletin of the Calcutta Mathematical Society 35: 99–109.", "movement/overlap.py"),
    Reference("Birge 1932", "Birge R. T. 1932. The calculation of errors by the method of least squares. Physical Review 40: 207–227.", "location/ground_fix.py"),
    Reference("Buckland et al. 2001", "Buckland S. T., Anderson D. R., Burnham K. P., Laake J. L., Borchers D. L. & Thomas L. 2001. Introduction to distance sampling: estimating abundance of biological populations. Oxford University Press, Oxford.", "search/theory.py"),
    Reference("Chapman 2020", "Chapman A. D. 2020. Current best practices for generalizing sensitive species occurrence data. GBIF Secretariat, Copenhagen.", "exchange/generalising.py", "read"),
    Reference("Clopper & Pearson 1934", "Clopper C. J. & Pearson E. S. 1934. The use of confidence or fiducial limits illustrated in the case of the binomial. Biometrika 26(4): 404–413.", "calibration/coverage.py", "scipy 1.17.1 (binomtest); R 4.2.2 (binom.test)"),
    Reference("Davison & Hinkley 1997", "Davison A. C. & Hinkley D. V. 1997. Bootstrap methods and their application. Cambridge University Press, Cambridge.", "calibration/errors.py", "boot 1.3-28.1 for R"),
    Reference("FGDC 1998", "Federal Geographic Data Committee. 1998. National standard for spatial data accuracy. FGDC-STD-007.3-1998.", "calibration/errors.py", "number and name as quoted where its formulas were compared (tests/outside/test_accuracy.py)"),
    Reference("Gelman et al. 2013", "Gelman A., Carlin J. B., Stern H. S., Dunson D. B., Vehtari A. & Rubin D. B. 2013. Bayesian data analysis, 3rd edition. Chapman & Hall/CRC, London.", "movement/true_places.py", "bayesplot 1.10.0 for R"),
    Reference("Gneiting & Raftery 2007", "Gneiting T. & Raftery A. E. 2007. Strictly proper scoring rules, prediction, and estimation. Journal of the American Statistical Association 102(477): 359–378.", "calibration/widening.py", "scores 2.7.0; scoringrules 0.10.0"),
    Reference("Holm 1979", "Holm S. 1979. A simple sequentially rejective multiple test procedure. Scandinavian Journal of Statistics 6: 65–70.", "movement/displacement.py", "R 4.2.2 (p.adjust)"),
    Reference("Horne et al. 2007", "Horne J. S., Garton E. O., Krone S. M. & Lewis J. S. 2007. Analyzing animal movements using Brownian bridges. Ecology 88(9): 2354–2363.", "movement/track.py"),
    Reference("ITU-R P.526-15", "International Telecommunication Union. Recommendation ITU-R P.526-15.", "radio/diffraction.py", "number and edition as named by the examples that the formulas were compared with"),
    Reference("ITU-R P.833-9", "International Telecommunication Union. Recommendation ITU-R P.833-9.", "radio/canopy.py", "number and edition as named where its equation and table were transcribed"),
    Reference("Jennrich & Turner 1969", "Jennrich R. I. & Turner F. B. 1969. Measurement of non-circular home range. Journal of Theoretical Biology 22(2): 227–237.", "movement/ranges.py"),
    Reference("Kaplan & Meier 1958", "Kaplan E. L. & Meier P. 1958. Nonparametric estimation from incomplete observations. Journal of the American Statistical Association 53(282): 457–481.", "movement/survival.py", "scipy 1.17.1 (ecdf)"),
    Reference("Mardia 1972", "Mardia K. V. 1972. Statistics of directional data. Academic Press, London.", "location/bearings.py", "circular 0.4-95 for R; scipy 1.17.1 (circstd)"),
    Reference("Arasaratnam & Haykin 2009", "Arasaratnam I. & Haykin S. 2009. Cubature Kalman filters. IEEE Transactions on Automatic Control 54(6): 1254–1269.", "radio/fitting.py", "filterpy 2.0.0; stonesoup 1.9.1"),
    Reference("FRS data set 2024", "University of Utah. 2024. FRS localisation data set, record 10962857, Zenodo.", "calibration/widening.py", "read, the data set itself"),
    Reference("Klein & Moeschberger 2003", "Klein J. P. & Moeschberger M. L. 2003. Survival analysis: techniques for censored and truncated data, 2nd edition. Springer, New York.", "movement/survival.py", "npsurv 0.5-0 and survMisc 0.5.6 for R"),
    Reference("Rappaport 1996", "Rappaport T. S. 1996. Wireless communications: principles and practice. Prentice Hall.", "radio/propagation.py", "IT++ 4.3.1, documentation"),
    Reference("Rasmussen & Williams 2006", "Rasmussen C. E. & Williams C. K. I. 2006. Gaussian processes for machine learning. MIT Press.", "radio/evidence.py", "scikit-learn 1.9.1; its chapter 3 for expectation propagation in glimix-core 3.1.14"),
    Reference("Silverman 1986", "Silverman B. W. 1986. Density estimation for statistics and data analysis. Chapman & Hall, London.", "movement/kernel.py", "scipy 1.17.1 (gaussian_kde); ks 1.14.0 for R"),
)


def cited_in(text: str) -> list[Reference]:
    """The references whose short form stands in a text, by name."""
    return sorted((reference for reference in REFERENCES if reference.cited in text), key=lambda reference: reference.full)
