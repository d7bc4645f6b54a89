"""A circuit is run: one narrow door to the engine, one fresh process per run."""
