"""What the views of the exchange have in common: which row a member may see, and how a file is handed out."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from audit.peers.groups import Place, groups_of, place_of
from audit.peers.models import PeerGroup

MOVED_ON = "Somebody changed this a moment ago. Read it, then try again."


def own_place(request: HttpRequest, key: str) -> Place:
    """The group and what the member is in it; 404 for a group the member has nothing to do with."""
    return place_of(request.user, get_object_or_404(groups_of(request.user), key=key))


def run_place(request: HttpRequest, key: str) -> Place:
    """The same for who runs the group; to all others it does not exist."""
    place = own_place(request, key)
    if not place.runs:
        raise Http404(PeerGroup.__name__)
    return place


def download(data: bytes, filename: str, media_type: str) -> HttpResponse:
    """A file to keep; the browser neither shows nor guesses it."""
    response = HttpResponse(data, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="{filename}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response
