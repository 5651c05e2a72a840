"""The register's addresses. One line a page; `tests/address_rows.py` has a row for each."""

from django.urls import path

from stock.views import (
    counts,
    hauls,
    log,
    months,
    moves,
    new_females,
    papers,
    planner,
    pond,
    ponds,
    surveys,
    tasks,
)

app_name = "stock"

urlpatterns = [
    path("", ponds.PondList.as_view(), name="pond-list"),
    path("ponds/<str:code>/", pond.pond_detail, name="pond-detail"),
    path("looked/", ponds.looked, name="looked"),
    path("new-females/", new_females.new_females, name="new-females"),
    path("new-females/tasks/", new_females.new_females_tasks, name="new-females-tasks"),
    path("log/", log.log, name="log"),
    path("log/sheet/", log.log_sheet, name="log-sheet"),
    path("log/refused/", log.refused_list, name="refused-list"),
    path("moves/", moves.MoveList.as_view(), name="move-list"),
    path("moves/new/", moves.move_new, name="move-new"),
    path("moves/<uuid:key>/", moves.move_detail, name="move-detail"),
    path("moves/<uuid:key>/reverse/", moves.move_reverse, name="move-reverse"),
    path("moves/<uuid:key>/correct/", moves.move_correct, name="move-correct"),
    path("months/", months.month_list, name="month-list"),
    path("months/close/", months.month_close, name="month-close"),
    path("tasks/", tasks.TaskList.as_view(), name="task-list"),
    path("tasks/add/", tasks.task_add, name="task-add"),
    path("tasks/<int:pk>/drop/", tasks.task_drop, name="task-drop"),
    path("counts/", counts.CountList.as_view(), name="count-list"),
    path("counts/accepted/<int:pk>/", counts.count_detail, name="count-detail"),
    path("counts/accepted/<int:pk>/take-back/", counts.count_take_back, name="count-take-back"),
    path("counts/hauls/", hauls.HaulList.as_view(), name="haul-list"),
    path("counts/hauls/<int:pk>/", hauls.haul_detail, name="haul-detail"),
    path("counts/surveys/", counts.SurveyList.as_view(), name="survey-list"),
    path("counts/surveys/new/", surveys.survey_new, name="survey-new"),
    path("counts/surveys/<int:pk>/", surveys.survey_detail, name="survey-detail"),
    path("counts/surveys/<int:pk>/change/", surveys.survey_change, name="survey-change"),
    path("counts/surveys/<int:pk>/drop/", surveys.survey_drop, name="survey-drop"),
    path("counts/surveys/<int:pk>/accept/<str:kind>/", surveys.survey_accept, name="survey-accept"),
    path("counts/plan/", planner.count_plan, name="count-plan"),
    path("batches/", papers.BatchList.as_view(), name="batch-list"),
    path("batches/<path:code>/", papers.batch_detail, name="batch-detail"),
    path("papers/add/", papers.paper_add, name="paper-add"),
]
