"""Who a person is to the rest of the house: roles, and the small value that every page and act is given."""

from dataclasses import dataclass, replace
from enum import StrEnum


class Role(StrEnum):
    TECHNICIAN = "technician"
    CLINICIAN = "clinician"
    MANAGER = "manager"


@dataclass(frozen=True, slots=True)
class Viewer:
    """The person asking, as of this request; roles add up, `clinics` are the own ones."""

    staff_id: int
    name: str
    roles: frozenset[Role]
    clinics: frozenset[int]
    zone: str
    units: str = "metric"

    def at(self, clinic_id: int) -> "Viewer":
        """The same person as far as one clinic's pairs go: a clinician is one at the own clinics alone."""
        if clinic_id in self.clinics:
            return self
        return replace(self, roles=self.roles - {Role.CLINICIAN})

    def has(self, *roles: Role) -> bool:
        return not self.roles.isdisjoint(roles)
