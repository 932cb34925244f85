"""Forms for JupyterLab: import of records, study of a part, cause investigation; no code needed."""

from rca.show.forms.import_form import ImportForm
from rca.show.forms.investigation import InvestigationForm
from rca.show.forms.part_study import PartStudyForm

__all__ = ["ImportForm", "InvestigationForm", "PartStudyForm"]
