"""The one error for wrong input: which file, which key, what is wrong and what is allowed."""


class InputError(Exception):
    """What the user wrote cannot be used. The command line prints its text and ends with exit status 2.

    Parameters
    ----------
    problem : str
        What is wrong, with the value and its unit.
    allowed : str
        What is allowed, or what to do. May be empty.
    file, key : str or None
        Where it stands: the file, and the key or column in it.
    """

    def __init__(self, *, problem: str, allowed: str = "", file: str | None = None, key: str | None = None) -> None:
        self.file = file
        self.key = key
        self.problem = problem
        self.allowed = allowed
        super().__init__(problem)

    def __str__(self) -> str:
        """The message in one piece: file: key: what is wrong. What is allowed."""
        where = "".join(f"{part}: " for part in (self.file, self.key) if part)
        problem = self.problem.rstrip()
        if self.allowed and not problem.endswith((".", "!", "?")):
            problem += "."
        return f"{where}{problem} {self.allowed}".rstrip()
