"""simkit from Python: machines and scenarios as values, rehearsals as tables and figures.

`import simkit` offers these names and loads each on first use. Everything here raises what the
command says: InputError for what a person wrote, EngineError when the engine has no answer.
"""
