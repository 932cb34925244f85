"""Forms for JupyterLab: import, study of a part, investigation, class exercise; no code needed."""

from rca.show.forms.exercise_form import ExerciseForm
from rca.show.forms.import_form import ImportForm
from rca.show.forms.investigation import InvestigationForm
from rca.show.forms.part_study import PartStudyForm

__all__ = ["ExerciseForm", "ImportForm", "InvestigationForm", "PartStudyForm"]
