"""What is computed once, when it is made, and stays."""

from dataclasses import FrozenInstanceError


class Computed:
    """An object that computes its attributes itself: each is set once, as one of a frozen dataclass."""

    def __setattr__(self, name: str, value: object) -> None:
        """Set an attribute that has no value yet, or refuse."""
        if name in vars(self):
            message = f"cannot assign to field {name!r}"
            raise FrozenInstanceError(message)
        super().__setattr__(name, value)

    def __repr__(self) -> str:
        shown = (f"{name}={value!r}" for name, value in vars(self).items() if not name.startswith("_"))
        return f"{type(self).__name__}({', '.join(shown)})"
