"""The ground floor's routes below /api/v1/."""

from django.urls import path

from clinic.api import (
    care_team,
    clients,
    documents,
    employment,
    episodes,
    me,
    me_pin,
    organization,
    staff,
    supervision,
)

urlpatterns = [
    path("me/pin/", me_pin.OwnPin.as_view()),
    path("documents/<uuid:id>/verify/", documents.DocumentVerification.as_view()),
    path("clients/", clients.ClientList.as_view()),
    path("clients/<uuid:id>/", clients.ClientDetail.as_view()),
    path("episodes/", episodes.EpisodeList.as_view()),
    path("episodes/<uuid:id>/", episodes.EpisodeDetail.as_view()),
    path("episodes/<uuid:id>/open/", episodes.OpenEpisode.as_view()),
    path("episodes/<uuid:id>/hold/", episodes.HoldEpisode.as_view()),
    path("episodes/<uuid:id>/resume/", episodes.ResumeEpisode.as_view()),
    path("episodes/<uuid:id>/discharge/", episodes.DischargeEpisode.as_view()),
    path("episodes/<uuid:id>/cancel/", episodes.CancelEpisode.as_view()),
    path("care-team/", care_team.CareTeamList.as_view()),
    path("care-team/<uuid:id>/", care_team.CareTeamDetail.as_view()),
    path("supervisions/", supervision.SupervisionList.as_view()),
    path("supervisions/<uuid:id>/", supervision.SupervisionDetail.as_view()),
    path("successions/", supervision.SuccessionList.as_view()),
    path("staff/", staff.StaffList.as_view()),
    path("staff/<uuid:id>/", staff.StaffDetail.as_view()),
    path("staff/<uuid:id>/roles/", staff.RolesOfStaff.as_view()),
    path("staff-roles/<uuid:id>/", staff.StaffRoleDetail.as_view()),
    path("credentials/", employment.CredentialList.as_view()),
    path("credentials/<uuid:id>/", employment.CredentialDetail.as_view()),
    path("contracted-hours/", employment.ContractedHoursList.as_view()),
    path("contracted-hours/<uuid:id>/", employment.ContractedHoursDetail.as_view()),
    path("me/", me.Me.as_view()),
    path("organization/", organization.OrganizationDetail.as_view()),
    path("sites/", organization.SiteList.as_view()),
    path("sites/<uuid:id>/", organization.SiteDetail.as_view()),
    path("rooms/", organization.RoomList.as_view()),
    path("rooms/<uuid:id>/", organization.RoomDetail.as_view()),
]
