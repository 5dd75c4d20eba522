"""Documents that figures of solvents come from.

`from memory` means that nobody has read the figure in the document yet.
"""

from collections.abc import Mapping

from app.domain.solvents.model import Source
from app.domain.solvents.vapour import Paper

CUSTOM = Source("common practice, no source", "", "common practice")
FROM_MEMORY = Source("handbook value, not read", "", "from memory")
IEC_FLASH = Source("IEC 60079-20-1 (2010)", "as carried by chemicals 1.5.2", "computed")
CRC_ORGANIC = Source("CRC Handbook, organic compounds", "as carried by chemicals 1.5.2", "computed")
CRC_AQUEOUS = Source(
    "CRC Handbook, 102nd ed.", "concentrative properties of aqueous solutions", "read"
)
DANISH_DPM = Source(
    "Danish Environmental Protection Agency 2003", "appendix 14, 104.2, after BUA 1995", "read"
)
EQUATION_OF_STATE = Source(
    "reference equation of state", "as carried by CoolProp 8.0.0", "computed"
)


def sources(density: Source, boiling: Source, flash: Source, index: Source) -> Mapping[str, Source]:
    """The source of each figure by field name; what rooms are used to has none."""
    custom = (
        "usual_purity_percent", "usual_limit_volume_percent", "is_hygroscopic", "drying_minutes",
        "fresh_varies",
    )  # fmt: skip
    return {
        "density": density,
        "boiling_point_c": boiling,
        "flash_point_c": flash,
        "index_20c": index,
        **dict.fromkeys(custom, CUSTOM),
    }


NIOSH = Paper("NIOSH Pocket Guide 0359", "read")
NIOSH_ETHANOL = Paper("NIOSH, IDLH documentation 64-17-5 (1994), with the OSHA limit", "read")
NIOSH_DPM = Paper("NIOSH, IDLH documentation 34590-94-8 (1994)", "read")
OSHA_ACETONE = Paper("OSHA, chemical sampling information (2008), with NIOSH's", "read")
ONTARIO = Paper("Ontario limits, as carried by chemicals 1.5.2", "second hand")
CAL_PEL = Paper("8 CCR 5155, table AC-1 (in reprints of the table)", "read")
EU_2000 = Paper("Directive 2000/39/EC (indicative)", "second hand")
EH40 = Paper("EH40/2005, workplace exposure limits (4th edition, 2020)", "second hand")
EH40_DPM = Paper("EH40/2005, workplace exposure limits", "from memory")
US, CALIFORNIA, EUROPE, ENGLAND = (
    ("us_federal", "california"),
    ("california",),
    ("europe",),
    ("england",),
)
"""The sets of waste rules of the countries where a limit of vapour holds."""
CANADA = ("canada",)
IEC = "IEC 60079-20-1 (2010), as carried by chemicals 1.5.2"
