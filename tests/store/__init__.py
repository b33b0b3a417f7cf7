"""Tests of the database: schema, statements, refusals."""
