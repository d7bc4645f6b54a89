"""An engine whose answers are kept: the same deck to the same engine is run once."""

from dataclasses import dataclass

from simkit.run.backend import Budget, Engine, EngineRun, Progress
from simkit.run.cache import Entry, Store, code_digest, digest_of
from simkit.run.guard import inspect


def identity_of(engine: Engine) -> str:
    """What an engine's answers depend on beside the deck; without starting it where it can tell.

    Errors: EngineMissing.
    """
    tell = getattr(engine, "identity", engine.version)
    return f"{engine.name}: {tell()}"


@dataclass(frozen=True)
class CachedEngine:
    """An engine with a store in front of it; an `Engine` to everything that uses one."""

    engine: Engine
    store: Store

    @property
    def name(self) -> str:
        """That of the engine behind."""
        return self.engine.name

    def run(
        self,
        text: str,
        saved: tuple[str, ...],
        stop: float,
        budget: Budget = Budget(),  # noqa: B008 - frozen
        progress: Progress | None = None,
    ) -> EngineRun:
        """The kept answer to a deck, or the engine's, which then is kept.

        Errors: as the engine's; failures are not kept, a later try may have more time or memory.
        """
        inspect(text)
        # The way from the library to the vectors is this part's own code; options are in the deck.
        key = digest_of("run", text, saved, stop, identity_of(self.engine), code_digest("run"))
        entry = self.store.get(key)
        if entry is not None and set(entry.arrays) == {"time", *saved}:
            if progress:
                progress(1.0)
            return _restored(entry)
        run = self.engine.run(text, saved, stop, budget, progress)
        facts = {
            "engine": run.engine,
            "log": run.log,
            "seconds": run.seconds,
            "cpu_seconds": run.cpu_seconds,
            "warnings": run.warnings,
        }
        self.store.put(key, facts, {name: run.vectors[name] for name in ("time", *saved)})
        return run

    def version(self) -> str:
        """Name and version of the engine behind."""
        return self.engine.version()

    def identity(self) -> str:
        """What the answers of the engine behind depend on."""
        return identity_of(self.engine)


def _restored(entry: Entry) -> EngineRun:
    facts = entry.facts
    return EngineRun(
        entry.arrays,
        facts["engine"],
        tuple(facts["log"]),
        facts["seconds"],
        facts["cpu_seconds"],
        tuple(facts["warnings"]),
    )
