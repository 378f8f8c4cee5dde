"""What the demo has to show, a small story for each situation; among them every flag of app/watch/rules."""

from app.demo.stories import batches, clinic, keeping, lab, standing, stock, way

ALL = (*stock.ALL, *lab.ALL, *way.ALL, *clinic.ALL, *keeping.ALL, *standing.ALL, *batches.ALL)
