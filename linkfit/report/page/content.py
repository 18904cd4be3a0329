"""The report in reading order: answers first, then the evidence."""

from typing import TYPE_CHECKING

from linkfit.report.page.basis import (
    assumptions_section,
    cautions_section,
    inputs_section,
    measurements_section,
    missing_section,
)
from linkfit.report.page.blocks import Report, Section
from linkfit.report.page.costs import costs_section
from linkfit.report.page.energy import energy_section
from linkfit.report.page.evidence import (
    ledger_section,
    payload_section,
    tasks_section,
    users_section,
)
from linkfit.report.page.headline import answers_of
from linkfit.report.page.interactive import interactive_section
from linkfit.report.page.limits import (
    backlog_section,
    calculator_section,
    data_section,
    headroom_section,
)
from linkfit.report.page.link_evidence import link_sections
from linkfit.report.page.verdicts import changes_section, verdict_section
from linkfit.report.page.what_changed import since_section
from linkfit.units import format_count

if TYPE_CHECKING:
    from linkfit.report.page.inputs import Inputs
    from linkfit.report.page.material import Material


def report_of(found: "Material", inputs: "Inputs") -> Report:
    """Everything that the report says, apart from how it is written."""
    answers = answers_of(found, inputs)
    sections: list[Section | None] = [
        verdict_section(found),
        since_section(inputs.earlier, answers),
        changes_section(found),
        costs_section(found),
        data_section(found),
        backlog_section(found),
        energy_section(found),
        headroom_section(found),
        interactive_section(found),
        missing_section(found),
        cautions_section(found.advice.cautions, found.advice.before.notes),
        calculator_section(found),
        tasks_section(found),
        payload_section(found),
        users_section(found),
        ledger_section(found),
        *link_sections(found),
        measurements_section(found, inputs),
        assumptions_section(found),
        inputs_section(inputs),
    ]
    n_files = len({source.name for source in found.link.sources})
    what_if = "".join(f"; what if: {text}" for text in found.site.what_if)
    return Report(
        title=f"Capacity report: {found.site.name}",
        subtitle=f"linkfit {inputs.version}, seed {inputs.seed}, from "
        f"{format_count(n_files, 'file')} of measurements{what_if}",
        sections=tuple(section for section in sections if section is not None),
        answers=answers,
    )
