"""A measured figure as a line: what was done, against what, how they compare, the aim and whether it is met."""

from typing import NamedTuple


class Line(NamedTuple):
    """`ratio` compares `this` with `compared` as the aim does; `most` says that it must not be larger than the aim."""

    work: str
    this: str
    compared: str
    ratio: float
    aim: float
    most: bool = False

    def met(self) -> bool:
        return self.ratio <= self.aim if self.most else self.ratio >= self.aim

    def words(self) -> str:
        aim = f"{'at most' if self.most else 'at least'} {self.aim:g}"
        told = (self.work, self.this, self.compared, f"{self.ratio:.3g}", aim, "met" if self.met() else "NOT MET")
        return " | ".join(told)


HEAD = "work | this | compared with | ratio | aim | met"
