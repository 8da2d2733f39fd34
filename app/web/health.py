"""Is the program up? Answers anybody, and tells nothing but its version."""

from fastapi import APIRouter

from app.web.deps import SiteDep

router = APIRouter()


@router.get("/healthz")
def healthz(site: SiteDep) -> dict[str, str]:
    return {"status": "ok", "version": site.version}
