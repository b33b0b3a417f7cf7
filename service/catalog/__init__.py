"""Reference data: families, arrangements, cavities, tools and cautions, each row with its source and how sure it is."""

from service.catalog.catalog import Catalog, Description, load
from service.catalog.rows import Arrangement, Caution, CautionKind, Family, Status, Work

__all__ = ["Arrangement", "Catalog", "Caution", "CautionKind", "Description", "Family", "Status", "Work", "load"]
