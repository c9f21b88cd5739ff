"""The contracts that the services and their callers agree on. Imports pydantic and nothing of ours."""
