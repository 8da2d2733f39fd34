"""How a phone comes to trust this site: the steps, and the authority's certificate."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.lan.place import Place
from app.storage.errors import NotFound
from app.web.deps import Site, SiteDep, page

public = APIRouter()


def _place(site: Site) -> Place:
    """Only a site that is served over TLS on a network has any of this."""
    if site.lan is None:
        raise NotFound
    return site.lan


@public.get("/trust")
def show(request: Request, site: SiteDep) -> HTMLResponse:
    place = _place(site)
    return page(request, "trust/show.html", place=place)


@public.get("/trust/tapeline-authority.crt")
def certificate(site: SiteDep) -> Response:
    """As phones take it."""
    return Response(_place(site).certificate, media_type="application/x-x509-ca-cert")


@public.get("/trust/tapeline-authority.pem")
def certificate_text(site: SiteDep) -> Response:
    """As programs and other systems take it."""
    text = _place(site).certificate_pem
    return Response(text, media_type="application/x-pem-file")
