"""The archive: many records in one database, for trends over a season and over many departments."""
