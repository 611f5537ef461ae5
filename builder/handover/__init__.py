"""The delivery pack: what the customer gets with the engine, as a binder, an offline record, data, and a seal."""
