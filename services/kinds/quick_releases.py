"""Quick releases: closed with force, lever where it cannot be knocked. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "quick_releases", "Quick releases",
    tasks=(
        Task("quick_releases_check", "Quick releases", "frame", 5, safety=True, plain="We check every quick release."),
    ),
    cautions=("A quick release that closes without force is open: check before every ride.",),
)  # fmt: skip
