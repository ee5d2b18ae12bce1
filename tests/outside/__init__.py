"""Independent references: public libraries only, never the package under test."""
