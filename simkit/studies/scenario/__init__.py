"""One scenario to its report: from the cache or the circuit, to result, page and folder."""
