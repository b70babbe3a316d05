"""Pictures, solids in the world, and the report: what people look at. Alone imports matplotlib."""
