"""An engine whose answers are kept: the same deck to the same engine is run once."""

from dataclasses import dataclass

from simkit.run.backend import Budget, Engine, EngineRun, Progress
from simkit.run.cache import Store, code_digest, digest_of
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
            return EngineRun.kept(entry.arrays, entry.facts)
        run = self.engine.run(text, saved, stop, budget, progress)
        self.store.put(key, run.facts(), {name: run.vectors[name] for name in ("time", *saved)})
        return run

    def version(self) -> str:
        """Name and version of the engine behind."""
        return self.engine.version()

    def identity(self) -> str:
        """What the answers of the engine behind depend on."""
        return identity_of(self.engine)
