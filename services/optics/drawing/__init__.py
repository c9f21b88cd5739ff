"""Drawing indications of ISO 10110 and ISO 10110-11 defaults, read and written."""
