"""What the tests share; a second library's dates come from the zones of the pinned package, as the service's do.

Where it read the machine's own, a zone whose rules are newer than those failed a test now and then.
"""

import whenever

whenever.reset_tzpath(())
