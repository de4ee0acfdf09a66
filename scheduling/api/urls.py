"""The top floor's routes below /api/v1/."""

from django.urls import path

from scheduling.api import batch, changes, cosign_queue, desk, note_checks, note_templates, notes, visits

urlpatterns = [
    path("visits/", visits.VisitList.as_view()),
    path("visits/<uuid:id>/", visits.VisitDoor.as_view()),
    path("visits/<uuid:id>/cancel/", visits.VisitCancel.as_view()),
    path("participations/", visits.ParticipationList.as_view()),
    path("participations/<uuid:id>/", visits.ParticipationDetail.as_view()),
    path("participations/<uuid:id>/check-in/", visits.ParticipationCheckIn.as_view()),
    path("participations/<uuid:id>/plan/", visits.ParticipationPlan.as_view()),
    path("participations/<uuid:id>/finish/", visits.ParticipationFinish.as_view()),
    path("participations/<uuid:id>/cancel/", visits.ParticipationCancel.as_view()),
    path("participations/<uuid:id>/no-show/", visits.ParticipationNoShow.as_view()),
    path("participations/<uuid:id>/reinstate/", visits.ParticipationReinstate.as_view()),
    path("note-templates/", note_templates.NoteTemplateList.as_view()),
    path("note-templates/<uuid:id>/", note_templates.NoteTemplateDetail.as_view()),
    path("notes/", notes.NoteList.as_view()),
    path("notes/<uuid:id>/", notes.NoteDoor.as_view()),
    path("notes/<uuid:id>/checks/", note_checks.NoteChecks.as_view()),
    path("notes/<uuid:id>/sign/", notes.NoteSign.as_view()),
    path("notes/<uuid:id>/cosign/", notes.NoteCosign.as_view()),
    path("notes/<uuid:id>/return/", notes.NoteReturn.as_view()),
    path("notes/<uuid:id>/versions/", notes.NoteVersions.as_view()),
    path("addenda/", notes.AddendumList.as_view()),
    path("addenda/<uuid:id>/", notes.AddendumDoor.as_view()),
    path("addenda/<uuid:id>/sign/", notes.AddendumSign.as_view()),
    path("addenda/<uuid:id>/cosign/", notes.AddendumCosign.as_view()),
    path("addenda/<uuid:id>/return/", notes.AddendumReturn.as_view()),
    path("batch/", batch.Batch.as_view()),
    path("changes/", changes.Changes.as_view()),
    path("day/", desk.Day.as_view()),
    path("caseload/", desk.Caseload.as_view()),
    path("cosign-queue/", cosign_queue.CosignQueue.as_view()),
    path("cosign-queue/cosign/", cosign_queue.CosignSeveral.as_view()),
    path("cosign-queue/unassigned/", cosign_queue.UnassignedCosignatures.as_view()),
]
