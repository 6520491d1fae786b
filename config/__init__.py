"""What a site declares about itself: schema, defaults and templates."""

from config.costs import Cost
from config.epoch import FanEpoch, PointUnit
from config.faults import Fault, FaultySite
from config.folder import SiteFolder, SiteReport, check_site, load_site
from config.secrets import resolve_secrets
from config.service_log import ServiceEntry
from config.site import Baseline, Mail, Site, Source, Units

__all__ = [
    "Baseline",
    "Cost",
    "FanEpoch",
    "Fault",
    "FaultySite",
    "Mail",
    "PointUnit",
    "ServiceEntry",
    "Site",
    "SiteFolder",
    "SiteReport",
    "Source",
    "Units",
    "check_site",
    "load_site",
    "resolve_secrets",
]
