"""The survey file: typed, frozen, every fault at once.

    load_survey      a survey.yml -> Survey, or SurveyError with every fault
    Survey           the settings (model.py explains each)
    survey_schema    the JSON schema that editors complete and check by (pipeline/survey.schema.json)
    starter_text     a commented survey.yml to begin with
"""

from pipeline.survey.load import load_survey
from pipeline.survey.model import Survey
from pipeline.survey.starter import starter_text, survey_schema

__all__ = ["Survey", "load_survey", "starter_text", "survey_schema"]
