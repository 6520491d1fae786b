"""The pages about the site as a whole: what came in, what runs by itself, what will be told."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from service.web.closer_script import closer_script
from service.web.data_view import data_page
from service.web.desk import Desk
from service.web.mail_view import mail_file, mail_page
from service.web.paper import page
from service.web.worker_view import worker_page


def site_page_routes(desk: Desk) -> APIRouter:
    """Return the routes."""
    router = APIRouter(include_in_schema=False)

    @router.get("/data")
    def _data(sheet: int = 1) -> HTMLResponse:
        site = desk.site.site
        return page("data.html", site=site, faults=desk.current.faults, found=data_page(desk, sheet - 1))

    @router.get("/worker")
    def _worker() -> HTMLResponse:
        return page("worker.html", site=desk.site.site, faults=desk.current.faults, found=worker_page(desk))

    @router.get("/mail")
    def _mail(week: str = "") -> HTMLResponse:
        site = desk.site.site
        return page("mail.html", site=site, faults=desk.current.faults, found=mail_page(desk, week))

    @router.get("/mail/letter.eml")
    def _letter(week: str = "") -> Response:
        named = {"content-disposition": 'attachment; filename="slipledger-week.eml"'}
        return Response(mail_file(desk, week), media_type="message/rfc822", headers=named)

    @router.get("/closer.js")
    def _closer() -> Response:
        return Response(closer_script(), media_type="text/javascript")

    return router
