"""The first floor's routes below /api/v1/."""

from django.urls import path

from goals.api import goals, plans, progress, review_items, scales

urlpatterns = [
    path("goals/", goals.GoalList.as_view()),
    path("goals/<uuid:id>/", goals.GoalDetail.as_view()),
    path("goals/<uuid:id>/accept/", goals.GoalAccept.as_view()),
    path("goals/<uuid:id>/activate/", goals.GoalActivate.as_view()),
    path("goals/<uuid:id>/hold/", goals.GoalHold.as_view()),
    path("goals/<uuid:id>/resume/", goals.GoalResume.as_view()),
    path("goals/<uuid:id>/complete/", goals.GoalComplete.as_view()),
    path("goals/<uuid:id>/cancel/", goals.GoalCancel.as_view()),
    path("goals/<uuid:id>/achievement/", goals.GoalAchievement.as_view()),
    path("goals/<uuid:id>/phases/", goals.GoalPhases.as_view()),
    path("goals/<uuid:id>/changes/", goals.GoalChanges.as_view()),
    path("goals/<uuid:id>/progress/", progress.Progress.as_view()),
    path("goals/<uuid:id>/progress-history/", progress.ProgressHistory.as_view()),
    path("goals/<uuid:id>/measurements/", progress.GoalMeasurements.as_view()),
    path("review-items/", review_items.ReviewItemList.as_view()),
    path("review-items/<uuid:id>/acknowledge/", review_items.ReviewItemAcknowledge.as_view()),
    path("scales/", scales.ScaleList.as_view()),
    path("scales/<uuid:id>/", scales.ScaleDetail.as_view()),
    path("plan-periods/", plans.PlanPeriodList.as_view()),
    path("plan-periods/<uuid:id>/", plans.PlanPeriodDetail.as_view()),
    path("certifications/", plans.CertificationList.as_view()),
    path("certifications/<uuid:id>/", plans.CertificationDetail.as_view()),
]
