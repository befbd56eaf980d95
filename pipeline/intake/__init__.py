"""Files in, tidy tables out: receiver logs, registers, study area, terrain and canopy, and a list of everything noticed.

    read_campaign   all files of a campaign -> Intake
    LogFormat       how receiver logs are written (TextFormat, Clock and PositionFormat are its parts)
    Intake          the tables of a campaign
    Terrain         ground heights on a grid in the survey CRS
    CanopyHeights   the same of the canopy above the ground
"""

from pipeline.intake.canopy import CanopyHeights
from pipeline.intake.campaign import Intake, read_campaign
from pipeline.intake.ground import Terrain
from pipeline.intake.log_format import Clock, LogFormat, PositionFormat, TextFormat

__all__ = ["CanopyHeights", "Clock", "Intake", "LogFormat", "PositionFormat", "Terrain", "TextFormat", "read_campaign"]
