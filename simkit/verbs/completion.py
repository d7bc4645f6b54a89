"""`simkit completion`: a script that lets the shell complete verbs, options and names."""

import json

import click

from simkit.verbs.common import json_option

SHELLS = {
    "bash": 'eval "$(simkit completion bash)"   in ~/.bashrc',
    "zsh": 'eval "$(simkit completion zsh)"   in ~/.zshrc',
    "fish": "simkit completion fish | source   in ~/.config/fish/config.fish",
}
"""Shells, and the line that switches completion on."""


@click.command("completion")
@click.argument("shell", type=click.Choice(list(SHELLS)))
@json_option
def command(shell: str, as_json: bool) -> int:
    """Print the completion script of a SHELL.

    \b
    bash: eval "$(simkit completion bash)"   in ~/.bashrc
    zsh:  eval "$(simkit completion zsh)"    in ~/.zshrc
    fish: simkit completion fish | source    in ~/.config/fish/config.fish
    """
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    assert kind is not None, "click knows the shells listed"
    script = kind(
        click.get_current_context().find_root().command, {}, "simkit", "_SIMKIT_COMPLETE"
    ).source()
    print(json.dumps({"shell": shell, "script": script}) if as_json else script)
    return 0
