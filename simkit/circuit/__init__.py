"""Parameters make a circuit: templates and numbers become deck text, with no engine involved."""
