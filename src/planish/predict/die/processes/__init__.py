"""The die processes that planish brings, one a file.

The order counts: a film stack that shows no process is taken for the first.
"""

from planish.predict.die.processes.copper import COPPER
from planish.predict.die.processes.oxide import OXIDE
from planish.predict.die.processes.sti import STI
from planish.predict.die.processes.tungsten import TUNGSTEN

OWN = (OXIDE, STI, COPPER, TUNGSTEN)
