"""Findings of quotes that were stored before a finding named its place and remedy as a problem does."""

from __future__ import annotations

from shared_schemas.check import Finding


def test_a_stored_finding_with_the_former_names_is_read_and_written_with_those_of_today() -> None:
    stored = (
        b'{"code": "glass_care", "severity": "note", "where": "/elements/0/glass", "message": "asks for care", "figure": 2.0,'
        b' "source": "rate table extra_work", "repair": "another glass"}'
    )
    finding = Finding.model_validate_json(stored)
    assert (finding.code, finding.pointer, finding.remedy) == ("glass-care", "/elements/0/glass", "another glass")
    assert Finding.model_validate_json(finding.model_dump_json()) == finding
    assert set(finding.model_dump()) >= {"pointer", "remedy"}
