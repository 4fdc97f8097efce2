"""The full-screen app: themes, sizes, changes of screen. The screens themselves are in `screens`."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual import events
from textual.app import SystemCommand
from textual.binding import Binding
from textual.command import CommandPalette
from textual.geometry import Size
from textual.screen import Screen

from bench.tui.actions import PALETTE, STOP, KeyAction
from bench.tui.key_order import KeysInOrder
from bench.tui.preferences import Preferences
from bench.tui.screens.countdown import CountDown
from bench.tui.screens.dialogs import SMALLEST, TooSmall
from bench.tui.themes import LAMP, SIXTEEN, THEMES, few_colours


class BenchApp(KeysInOrder):
    """Tapebench, full screen."""

    TITLE = "Tapebench"
    CSS_PATH = "app.tcss"
    COMMAND_PALETTE_BINDING = PALETTE.function_key.lower()
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (140, "-wide")]  # noqa: RUF012 - as Textual has it
    VERTICAL_BREAKPOINTS = [(0, "-low"), (28, "-tall")]  # noqa: RUF012
    BINDINGS = [Binding(STOP.function_key.lower(), "stop_sound", STOP.label, priority=True)]  # noqa: RUF012

    def __init__(self, first: Screen[str] | None = None, preferences: Preferences | None = None) -> None:
        few = few_colours()
        super().__init__(ansi_color=True if few else None)
        for theme in THEMES:
            self.register_theme(theme)
        # Set without the watcher, which would parse the style sheet a second time before the first frame.
        self.set_reactive(BenchApp.theme, (SIXTEEN if few else LAMP).name)
        self.stylesheet.set_variables(self.get_css_variables())
        self._first = first
        self._preferences = preferences
        self.bell_on = preferences is not None and preferences.load().get("bell") == "on"
        self.fault: BaseException | None = None
        """The exception that ended the app; None where the person left it."""
        self.close_late: Callable[[Callable[[str], None]], None] | None = None
        """Closes the session of a screen that closed while its bench thread was still writing."""

    def on_mount(self) -> None:
        """The first screen."""
        if self._first is not None:
            self.push_screen(self._first, lambda _: self.exit(0))
            self._check_size(self.size)
            self._check_size_again()

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colours, for themes that do not define them."""
        return {name: str(value) for name, value in LAMP.variables.items()}

    # ---------------------------------------------------------------- size

    def on_resize(self, event: events.Resize) -> None:
        """The terminal changed its size."""
        if len(self.screen_stack) > 1:
            self._check_size(event.size)

    def _check_size(self, size: Size) -> None:
        """Cover the screen with a sentence when it is below the smallest size."""
        small = size.width < SMALLEST[0] or size.height < SMALLEST[1]
        if small and not any(isinstance(s, TooSmall) for s in self.screen_stack):
            self.push_screen(TooSmall(), self._check_size_again)

    def _check_size_again(self, _: object = None) -> None:
        """Check again: the size may have changed while screens changed."""
        self.call_after_refresh(lambda: self._check_size(self.size))

    # ---------------------------------------------------------------- what is done everywhere

    async def action_stop_sound(self) -> None:
        """Stop all sound of every screen in the stack, and a count-down that would start any."""
        if isinstance(self.screen, CountDown):
            self.screen.action_close()
        for screen in reversed(self.screen_stack):
            if not screen.is_modal and hasattr(screen, "action_stop_sound"):
                screen.action_stop_sound()
                return

    def action_next_theme(self) -> None:
        """Next theme: dark, light, the terminal's own colours."""
        names = [t.name for t in THEMES]
        at = names.index(self.theme) if self.theme in names else -1
        chosen = THEMES[(at + 1) % len(THEMES)]
        if not self.no_color:
            self.ansi_color = chosen.ansi or None
            self.theme = chosen.name

    def action_bell_switch(self) -> None:
        """Bell on or off, also for the next start."""
        self.bell_on = not self.bell_on
        if self._preferences is not None:
            self._preferences.save({"bell": "on" if self.bell_on else "off"})
        self.bell()

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """The palette lists what the keys do, and nothing else."""
        listed_actions: tuple[KeyAction, ...] = getattr(screen, "key_actions", ())
        for item in listed_actions:
            if item.in_palette:
                yield SystemCommand(item.label.capitalize(), item.help, self._run_action(screen, item))

    @staticmethod
    def _run_action(screen: Screen[object], item: KeyAction):  # type: ignore[no-untyped-def]
        async def run() -> None:
            await screen.run_action(item.action)

        return run

    def action_command_palette(self) -> None:
        """Search for an action."""
        if not isinstance(self.screen, CommandPalette):
            self.push_screen(CommandPalette(placeholder="Type what you want to do"))

    # ---------------------------------------------------------------- faults

    def end_by(self, fault: BaseException) -> None:
        """Leave the app because of a fault on the bench."""
        self.fault = self.fault or fault
        self.exit()

    def _handle_exception(self, error: Exception) -> None:
        """A fault of the program ends the app; the command line prints it in one line, without a traceback."""
        self.fault = self.fault or error
        super()._handle_exception(error)

    def _print_error_renderables(self) -> None:
        self._exit_renderables.clear()
